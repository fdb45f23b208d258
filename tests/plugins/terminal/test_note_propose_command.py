"""``pinfolio note propose``: a patch printed or written; the chip file is left alone."""

from __future__ import annotations

import json
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import Result
from pinfolio.data_demo import chip_files
from pinfolio.loaders.shop.shop_folder import Shop
from pinfolio.schema.note import Note

Run = Callable[..., Result]
CORRECTION = (
    "add", "TQZ5752", "49", "--kind", "correction", "--condition", "colour bars",
    "--dc", "4.42V", "--sets", "9", "--text", "The sheet says 3.6 V.", "--yes",
)  # fmt: skip


@pytest.fixture
def chips(tmp_path: Path) -> Path:
    folder = tmp_path / "chips"
    folder.mkdir()
    for path in chip_files():
        if path.stem in ("tqz5752", "tqz3609"):
            shutil.copy(path, folder)
    return folder


def test_the_patch_is_printed_and_the_chip_file_stays(
    run: Run, note: Callable[..., Note], chips: Path
) -> None:
    written = note(*CORRECTION)
    file = chips / "tqz5752.yaml"
    before = file.read_bytes()
    printed = run("note", "propose", written.id[:6], chips)
    assert printed.exit_code == 0, printed.output
    lines = printed.stdout.splitlines()
    assert lines[:2] == [f"--- {file}", f"+++ {file}"]
    assert "+        dc: 4.42 V" in lines
    assert "DC 3.6 V ± 12 % -> 4.42V" in printed.stderr
    assert file.read_bytes() == before


def test_the_patch_goes_to_a_new_file_only(
    run: Run, note: Callable[..., Note], chips: Path, tmp_path: Path
) -> None:
    written = note(*CORRECTION)
    file, patch = chips / "tqz5752.yaml", tmp_path / "acc.patch"
    before = file.read_bytes()
    kept = run("note", "propose", written.id, file, "-o", patch)
    assert kept.exit_code == 0, kept.output
    assert f"Apply it with: patch {file} {patch}" in kept.stderr
    assert patch.read_text(encoding="utf-8").startswith(f"--- {file}\n")
    refused = run("note", "propose", written.id, file, "-o", file)
    assert refused.exit_code == 2
    assert "exists already" in refused.output
    assert file.read_bytes() == before


def test_a_note_that_changes_nothing_is_refused(
    run: Run, note: Callable[..., Note], chips: Path, tmp_path: Path
) -> None:
    remark = note("add", "TQZ5752", "13", "--kind", "remark", "--text", "Warm.")
    patch = tmp_path / "none.patch"
    refused = run("note", "propose", remark.id, chips, "-o", patch)
    assert refused.exit_code == 1
    assert "is a remark; name a note of kind correction" in refused.output
    assert not patch.exists()
    elsewhere = run("note", "propose", remark.id, chips / "tqz3609.yaml")
    assert elsewhere.exit_code == 1
    assert "no chip file of TQZ5752" in elsewhere.output


def test_a_note_in_conflict_is_settled_first(
    run: Run, note: Callable[..., Note], chips: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fields = note(*CORRECTION).model_dump(mode="json", exclude_defaults=True)
    sides = [Note.model_validate({**fields, "sets": sets}) for sets in (1, 2)]
    module = "pinfolio.plugins.terminal.note_propose_command"
    monkeypatch.setattr(f"{module}.load_notes", lambda _: sides)
    refused = run("note", "propose", fields["id"], chips)
    assert refused.exit_code == 1
    assert "is in conflict; settle it with 'pinfolio note edit' first" in refused.output


class TestLint:
    def test_open_corrections_are_listed_until_the_patch_is_applied(
        self, run: Run, note: Callable[..., Note], chips: Path, tmp_path: Path
    ) -> None:
        written = note(*CORRECTION)
        file, patch = chips / "tqz5752.yaml", tmp_path / "acc.patch"
        linted = run("lint", chips)
        assert linted.exit_code == 0, linted.output
        assert f"{file}: open correction {written.id}: pin 49, colour bars: DC" in linted.output
        run("note", "propose", written.id, file, "-o", patch)
        subprocess.run(["patch", "--quiet", str(file), str(patch)], check=True)
        assert "open correction" not in run("lint", chips).output

    def test_json_lists_them_with_their_values(
        self,
        run: Run,
        note: Callable[..., Note],
        shop: Shop,
        chips: Path,
        monkeypatch: pytest.MonkeyPatch,
    ) -> None:
        written = note(*CORRECTION)
        monkeypatch.delenv("PINFOLIO_SHOP")
        answered = run("lint", "--json", chips, "--shop", shop.folder)
        (listed,) = json.loads(answered.stdout)["open_corrections"]
        assert (listed["note"], listed["sets"]) == (written.id, 9)
        assert listed["changes"][0] == {
            "quantity": "DC",
            "stated": "3.6 V ± 12 %",
            "read": "4.42V",
        }

    def test_withdrawn_ones_and_remarks_are_not_open(
        self, run: Run, note: Callable[..., Note], chips: Path
    ) -> None:
        written = note(*CORRECTION)
        note("withdraw", written.id, "--yes")
        note("add", "TQZ5752", "13", "--kind", "remark", "--text", "Warm.")
        assert "open correction" not in run("lint", chips).output

    def test_a_folder_that_is_no_shop_is_named(self, run: Run, chips: Path) -> None:
        refused = run("lint", chips, "--shop", chips)
        assert refused.exit_code == 2
        assert str(chips) in refused.output
