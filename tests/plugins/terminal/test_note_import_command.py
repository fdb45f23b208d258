"""``pinfolio note import`` and ``export``: a shop's own tables, in and out."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from pinfolio.loaders.shop.note_files import load_own_notes
from pinfolio.loaders.shop.shop_folder import Shop
from pinfolio.plugins.terminal.cli import main

Run = Callable[..., Result]
TABLE = (
    "IC;Pin;State;DC;Shelf\nTQZ5752;13;no signal;3,05;A\nTQZ5752;13;no signal;3,10;A\n"
    "TQZ5752;99;no signal;3;A\n"
)


@pytest.fixture
def table(tmp_path: Path) -> Path:
    path = tmp_path / "repairs.csv"
    path.write_text(TABLE)
    return path


def list_files(shop: Shop) -> list[Path]:
    return sorted(path for path in shop.folder.rglob("*") if path.is_file())


def test_a_dry_run_says_everything_and_writes_nothing(run: Run, shop: Shop, table: Path) -> None:
    before = list_files(shop)
    tried = run("note", "import", table, "--map", "skip=Shelf", "--dry-run")
    assert tried.exit_code == 1
    assert "2 new notes; 1 not taken" in tried.stdout
    assert f"{table}:4: not taken: no pin '99' on TQZ5752" in tried.stderr
    assert "Column 4 'DC': dc" in tried.stderr
    assert list_files(shop) == before


def test_columns_are_asked_for_once_and_remembered(run: Run, shop: Shop, table: Path) -> None:
    asked = run("note", "import", table, "--yes")
    assert asked.exit_code == 2
    assert "columns not understood: 5 'Shelf'; name the field of each, such as" in asked.stderr
    assert run("note", "import", table, "--map", "skip=5", "--yes").exit_code == 1
    assert len(load_own_notes(shop)) == 2
    again = run("note", "import", table, "--yes")
    assert "0 new notes; 2 here already; 1 not taken" in again.stdout
    assert len(load_own_notes(shop)) == 2


def test_on_a_terminal_the_field_of_a_column_is_asked(
    run: Run, shop: Shop, table: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pinfolio.plugins.terminal.note_import_command.on_terminal", lambda: True)
    typed = CliRunner().invoke(main, ["note", "import", str(table)], input="nope\ntext\ny\n")
    assert "Field of column 5 'Shelf' (A) [skip]: nope" in typed.output
    assert "'nope' is no field of a note" in typed.output
    assert {note.text for note in load_own_notes(shop)} == {"A"}


def test_rejects_are_written_on_request(run: Run, shop: Shop, table: Path, tmp_path: Path) -> None:
    out, words = tmp_path / "rejects.csv", ("--map", "skip=5", "--yes")
    run("note", "import", table, *words, "--rejects", out)
    assert out.read_text("utf-8-sig").splitlines()[1].startswith("4,")
    out.write_text("a letter")
    refused = run("note", "import", table, *words, "--rejects", out)
    assert "cannot be written (holds a file of another kind)" in refused.stderr
    assert out.read_text() == "a letter"


def test_without_consent_nothing_is_kept(run: Run, shop: Shop, table: Path) -> None:
    before = list_files(shop)
    assert run("note", "import", table, "--map", "skip=5").exit_code == 1
    assert list_files(shop) == before


def test_the_answer_as_json(run: Run, shop: Shop, table: Path) -> None:
    answer = run("note", "import", table, "--map", "skip=5", "--dry-run", "--json")
    document = json.loads(answer.stdout)
    assert [len(document[name]) for name in ("notes", "rejects", "repeats", "held")] == [2, 1, 0, 0]


def test_ctrl_c_leaves_the_folder_as_it_was(
    run: Run, shop: Shop, table: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before, sync = list_files(shop), os.fsync

    def interrupt(descriptor: int) -> None:
        monkeypatch.setattr(os, "fsync", sync)
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", interrupt)
    assert run("note", "import", table, "--map", "skip=5", "--yes").exit_code == 1
    assert list_files(shop) == before


@pytest.mark.parametrize("ending", ["csv", "jsonl"])
def test_an_export_holds_the_notes_and_imports_as_nothing_new(
    run: Run, shop: Shop, table: Path, tmp_path: Path, ending: str
) -> None:
    run("note", "import", table, "--map", "skip=5", "--yes")
    run("note", "add", "TQZ5752", "13", "--kind", "caution", "--text", "=cmd()")
    out = tmp_path / f"notes.{ending}"
    assert run("note", "export", "-o", out).exit_code == 0
    assert run("note", "export", "-o", out).exit_code == 0  # replaces its own kind
    assert "0 new notes; 3 here already" in run("note", "import", out, "--yes").stdout


def test_an_export_refuses_other_files_and_endings(run: Run, shop: Shop, tmp_path: Path) -> None:
    assert "spreadsheets open" in run("note", "export", "-o", tmp_path / "n.xlsx").stderr
    (tmp_path / "n.csv").write_text("a letter")
    assert run("note", "export", "-o", tmp_path / "n.csv").exit_code == 2
    assert (tmp_path / "n.csv").read_text() == "a letter"
    assert run("note", "export", "-o", "-").stdout.startswith("chip,at")
    for _ in range(2):  # a table of no note replaces one of its kind too
        assert run("note", "export", "-o", tmp_path / "none.csv").exit_code == 0
