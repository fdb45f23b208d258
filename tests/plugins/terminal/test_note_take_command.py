"""``pinfolio note take``: files made on a page are checked and kept, all or none."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from click.testing import Result
from datasette.app import Datasette
from pinfolio.loaders.shop.new_note_file import has_end
from pinfolio.loaders.shop.note_files import load_own_notes
from pinfolio.loaders.shop.shop_folder import Shop

HEAD = "file_format: pinfolio note 1\nkind: remark\nchip: TQZ5752\ntext: Warm.\n"
Run = Callable[..., Result]
MADE = (
    "/note.yaml?kind=fault+and+remedy&chip=tqz5752&at=xtal&condition=colour+bars&seen=missing"
    "&symptom=No+colour&part=C731&failure=open&cure=22p&after=vpp%3D480mVpp"
)


async def test_the_file_of_a_page_becomes_a_note_of_the_shop(
    run: Run, shop: Shop, site: Datasette, tmp_path: Path
) -> None:
    answer = await site.client.get(MADE)
    assert answer.headers["content-disposition"] == 'attachment; filename="tqz5752-46.note.yaml"'
    path = tmp_path / "made.note.yaml"
    path.write_bytes(answer.content)
    taken = run("note", "take", path, "--yes")
    assert taken.exit_code == 0, taken.output
    (note,) = load_own_notes(shop)
    assert (note.shop, note.author, note.date) == ("bench-a", "anna", date.today().isoformat())
    assert (note.chip, note.at, note.part, note.failure) == ("TQZ5752", "pin 46", "C731", "open")


def test_one_faulty_file_leaves_the_folder_as_it_was(run: Run, shop: Shop, tmp_path: Path) -> None:
    good, bad = tmp_path / "good.yaml", tmp_path / "bad.yaml"
    good.write_text(f"{HEAD}at: pin 1\n")
    bad.write_text(f"{HEAD}at: pin 99\n")
    refused = run("note", "take", good, bad, "--yes")
    assert refused.exit_code == 1
    assert "99" in refused.output
    assert load_own_notes(shop) == []


def test_nothing_is_kept_without_consent(run: Run, shop: Shop, tmp_path: Path) -> None:
    path = tmp_path / "one.yaml"
    path.write_text(f"{HEAD}at: pin 1\n")
    asked = run("note", "take", path)  # nobody answers
    assert asked.exit_code == 1
    assert "remark, TQZ5752 pin 1" in asked.output
    assert load_own_notes(shop) == []


def test_the_same_note_is_not_taken_again_on_that_day(run: Run, shop: Shop, tmp_path: Path) -> None:
    path = tmp_path / "one.yaml"
    path.write_text(f"{HEAD}at: pin 1\n")
    run("note", "take", path, path, "--yes")
    assert "Not taken again" in run("note", "take", path, "--yes").stderr
    assert len(load_own_notes(shop)) == 1


def test_notes_are_taken_as_they_arrive(
    run: Run, shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each pause of the command is one step of somebody who downloads notes."""
    folder = tmp_path / "downloads"
    folder.mkdir()
    (folder / "old.note.yaml").write_text(f"{HEAD}at: pin 9\n...\n")

    def download(_: float) -> None:
        step = next(steps)
        if step is None:
            raise KeyboardInterrupt
        (folder / step[0]).write_text(step[1])

    whole = f"{HEAD}at: pin 1\n...\n"
    steps = iter(
        [
            ("TQZ5752-1.note.yaml", whole[:40]),
            ("TQZ5752-1.note.yaml", whole[:-9]),
            ("TQZ5752-1.note.yaml", whole),
            ("TQZ5752-99.note (1).yaml", f"{HEAD}at: pin 99\n...\n"),
            ("TQZ5752-2.note (2).yaml", f"{HEAD}at: pin 2\n...\n"),
            None,
        ]
    )
    monkeypatch.setattr("pinfolio.plugins.terminal.note_take_command.time.sleep", download)
    watched = run("note", "take", "--watch", folder, "--yes")
    assert watched.exit_code == 0, watched.output
    assert {note.at for note in load_own_notes(shop)} == {"pin 1", "pin 2"}
    assert "there already, which stay: 1\n" in watched.stderr
    assert "Not taken: no pin '99' on TQZ5752" in watched.stderr
    assert watched.stderr.endswith("Stopped.\n")


def test_nothing_to_take_and_nobody_to_ask_are_said(run: Run, shop: Shop, tmp_path: Path) -> None:
    assert "name one, or a folder with --watch" in run("note", "take").stderr
    assert "nobody can be asked here" in run("note", "take", "--watch", tmp_path).stderr


async def test_the_file_of_a_page_has_an_end(site: Datasette, tmp_path: Path) -> None:
    path = tmp_path / "made.note.yaml"
    path.write_bytes((await site.client.get(MADE)).content)
    assert has_end(path)
    path.write_bytes(path.read_bytes()[:-1])
    assert not has_end(path)
