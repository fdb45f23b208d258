"""A marking typed whole is answered at once: with nothing heavy imported, and as ``find`` would."""

from __future__ import annotations

import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner
from pinfolio.data_demo import chip_files
from pinfolio.loaders import open_folio
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.loaders.folio.build import build_from_chips
from pinfolio.plugins.search.exact import exact_lines
from pinfolio.plugins.terminal import start
from pinfolio.plugins.terminal.cli import main

HEAVY = {
    "click", "cryptography", "dataclasses", "datasette", "importlib.metadata", "json",
    "numpy", "pathlib", "PIL", "platformdirs", "pluggy", "pydantic", "rapidfuzz", "re", "rich",
    "scipy", "sqlite_utils", "typing", "uvicorn", "yaml",
}  # fmt: skip
CHIPS = [load_chip(path) for path in chip_files()]
TYPED = sorted({marking for chip in CHIPS for marking in (chip.part, *chip.markings)})


def imported(arguments: list[str], demo_path: Path, *options: str) -> tuple[str, set[str]]:
    """What ``pinfolio`` printed with these arguments, and the modules that were loaded then."""
    code = (
        "import atexit, sys, types\n"
        "atexit.register(lambda: print(*sys.modules, file=sys.stderr))\n"
        "package = sys.modules['pinfolio'] = types.ModuleType('pinfolio')\n"
        f"package.__path__ = [{str(Path(start.__file__).parents[2])!r}]\n"
        f"sys.argv = ['pinfolio', *{arguments!r}]\n"
        "from pinfolio.plugins.terminal.start import main\n"
        "main()"
    )
    ran = subprocess.run(
        [sys.executable, *options, "-c", code],
        env={**os.environ, "PINFOLIO_FOLIO": str(demo_path)},
        capture_output=True,
        text=True,
        check=True,
    )
    return ran.stdout, set(ran.stderr.split())


@pytest.mark.parametrize("typed", TYPED)
def test_the_same_is_printed_as_by_the_command_that_knows_everything(
    typed: str, demo_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("PINFOLIO_FOLIO", str(demo_path))
    for spelt in (typed, typed.lower(), f" {typed[:3]}-{typed[3:]} "):
        told = CliRunner().invoke(main, ["find", spelt])
        assert told.exit_code == 0
        monkeypatch.setattr(sys, "argv", ["pinfolio", "find", spelt])
        start.main()
        assert capsys.readouterr().out == told.stdout
        assert exact_lines(spelt) == told.stdout.splitlines()


def test_a_narrow_terminal_gets_the_same_line(demo_path: Path) -> None:
    say = [
        sys.executable,
        "-m",
        "pinfolio.plugins.terminal.start",
        "find",
        "--folio",
        str(demo_path),
    ]
    ours, theirs = pty.openpty()
    subprocess.run(
        [*say, "TQZ5752"], stdout=theirs, env={**os.environ, "COLUMNS": "30"}, check=True
    )
    on_terminal = os.read(ours, 4096).decode()
    os.close(ours)
    os.close(theirs)
    piped = subprocess.run([*say, "TQZ5752"], capture_output=True, text=True, check=True).stdout
    assert on_terminal.replace("\r\n", "\n") == piped
    assert piped == "TQZ5752 (part number): jungle, SDIP-52, Tannhof Halbleiter (invented)\n"


def test_chips_that_share_a_marking_all_answer_the_part_number_first(tmp_path: Path) -> None:
    one, two = (chip.model_copy(update={"markings": ("XQ 1",)}) for chip in CHIPS[:2])
    named = CHIPS[2].model_copy(update={"part": "XQ1", "markings": ()})
    out = tmp_path / "folio with 100 % #1?.db"
    build_from_chips([one, two, named], out)
    lines = exact_lines("xq-1", str(out))
    assert (
        lines == CliRunner().invoke(main, ["find", "xq-1", "--folio", str(out)]).output.splitlines()
    )
    assert [line.split(":")[0] for line in lines] == [
        "XQ1 (part number)", f"{one.part} (marking XQ 1)", f"{two.part} (marking XQ 1)",
    ]  # fmt: skip


def test_hostile_words_of_a_chip_are_spelt_out(tmp_path: Path) -> None:
    chip = CHIPS[0].model_copy(update={"maker": "Evil\x1b[2J\u202e"})
    build_from_chips([chip], tmp_path / "folio.db")
    (line,) = exact_lines(chip.part, str(tmp_path / "folio.db"))
    assert r"Evil\x1b[2J\u202e" in line


@pytest.mark.parametrize(
    "arguments",
    [
        ["find", "5752"],
        ["find", "burst", "key"],
        ["find", "TQZ5?52"],
        ["find", "TQZ5752", "--json"],
        ["find", "TQZ5752", "--limit", "3"],
        ["find", "TQZ5752", "sync"],
        ["find", "TQZ5752\n9632"],
        ["find", "--folio", "TQZ5752"],
        ["find", "TQZ5752", "--folio", "nowhere.db"],
        ["find", "-h"],
        ["find"],
        ["chip", "TQZ5752"],
        [],
    ],
)
def test_everything_else_goes_to_the_command_line_proper(
    arguments: list[str], demo_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PINFOLIO_FOLIO", str(demo_path))
    monkeypatch.setattr(sys, "argv", ["pinfolio", *arguments])
    handed: list[bool] = []
    monkeypatch.setattr("pinfolio.plugins.terminal.cli.main", lambda: handed.append(True))
    start.main()
    assert handed == [True]


def test_an_exact_marking_is_found_with_nothing_heavy_imported(demo_path: Path) -> None:
    with open_folio(demo_path):
        pass  # so that it is known to be whole, as after the first question
    # Without site, so that nothing is loaded by the way in which this is installed.
    printed, modules = imported(["find", "TQZ5752"], demo_path, "-S")
    assert printed.startswith("TQZ5752 (part number)")
    assert modules & HEAVY == set()


@pytest.mark.parametrize(
    ("arguments", "unneeded"),
    [
        (
            ["--help"],
            {"datasette", "uvicorn", "numpy", "pydantic", "scipy", "rich", "sqlite_utils"},
        ),
        (["chip", "TQZ5752"], {"datasette", "uvicorn", "scipy", "sqlite_utils", "ssl"}),
        (["pin", "TQZ5752", "13"], {"datasette", "uvicorn", "scipy", "sqlite_utils", "ssl"}),
        (["faultfind", "TQZ5752", "--help"], {"datasette", "uvicorn", "scipy", "sqlite_utils"}),
        (["find", "TQZ5752", "--json"], {"datasette", "uvicorn", "scipy", "numpy", "rich"}),
    ],
)
def test_a_command_imports_nothing_that_only_pages_need(
    arguments: list[str], unneeded: set[str], demo_path: Path
) -> None:
    _, modules = imported(arguments, demo_path)
    assert modules & unneeded == set()


def test_each_public_name_of_the_loaders_is_there_when_asked_for() -> None:
    code = (
        "import pinfolio.loaders as found\n"
        "print([name for name in found.__all__ if not hasattr(found, name)])\n"
        "print(sorted(set(found.__all__) ^ set(found._HOMES)))"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout == "[]\n[]\n"
