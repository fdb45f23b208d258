"""``pinfolio build`` as typed: its inputs, its output, its exit status."""

from __future__ import annotations

import os
import pty
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.terminal.cli import main

Build = Callable[..., Result]


@pytest.fixture
def out(tmp_path: Path) -> Path:
    return tmp_path / "folio.db"


@pytest.fixture
def build(tmp_path: Path, out: Path) -> Build:
    """Call it with sources and options; the cache is the test's own."""
    environment = {"XDG_CACHE_HOME": str(tmp_path / "cache")}

    def run(*given: object) -> Result:
        arguments = ["build", *map(str, given), "-o", str(out)]
        return CliRunner().invoke(main, arguments, env=environment)

    return run


@pytest.fixture
def faulty(tmp_path: Path) -> Path:
    """Three lines: a chip, one with a wrong word, one that ends too early."""
    path = tmp_path / "chips.jsonl"
    good, other = (load_chip(file).document() for file in chip_files()[:2])
    wrong = other.replace('"role":"input"', '"role":"inptu"', 1)
    path.write_text(f"{good}\n{wrong}\n{other[:-9]}\n", encoding="utf-8")
    return path


def test_build_writes_a_folio(build: Build, out: Path) -> None:
    built = build(*chip_files())
    assert built.exit_code == 0, built.output
    assert built.stdout.startswith(f"{out}: {len(chip_files())} chips, ")
    assert CliRunner().invoke(main, ["find", "5752", "--folio", str(out)]).exit_code == 0


def test_build_names_every_fault_and_leaves_the_old_folio(
    build: Build, out: Path, faulty: Path
) -> None:
    build(chip_files()[0])
    before = out.read_bytes()
    refused = build(faulty)
    assert refused.exit_code == 2
    wrong, short, count = refused.stderr.splitlines()
    assert wrong.startswith(f"Error: {faulty}:2:")
    assert wrong.endswith("write 'input'")
    assert short.startswith(f"{faulty}:3:")
    assert "expected a text with its closing quote" in short
    assert count == "2 faults, so nothing was written"
    assert out.read_bytes() == before


def test_keep_going_lists_what_it_leaves_out(build: Build, out: Path, faulty: Path) -> None:
    built = build(faulty, "--keep-going")
    listed = out.with_name("folio.db.rejects.txt")
    assert built.exit_code == 1
    assert built.stdout.startswith(f"{out}: 1 chip, ")
    assert built.stdout.endswith(f"; 2 rejected, listed in {listed}\n")
    places = [line.split(": ")[0] for line in listed.read_text(encoding="utf-8").splitlines()]
    assert [place.rpartition(":")[0] for place in places] == [f"{faulty}:2", f"{faulty}:3"]


def test_keep_going_with_nothing_to_leave_out(build: Build, tmp_path: Path) -> None:
    listed = tmp_path / "left out.txt"
    built = build(*chip_files()[:2], "--keep-going", "--rejects", listed)
    assert built.exit_code == 0
    assert "2 chips" in built.stdout
    assert "0 rejected" in built.stdout
    assert listed.read_text() == ""


def test_a_list_that_cannot_be_written_is_one_clear_error(
    build: Build, out: Path, faulty: Path
) -> None:
    built = build(faulty, "--keep-going", "--rejects", "/nowhere/list.txt")
    assert built.exit_code == 2
    assert "/nowhere/list.txt: cannot be written (No such file or directory)" in built.stderr
    assert not out.exists()


def test_a_list_without_keep_going_is_wrong_usage(build: Build, faulty: Path) -> None:
    built = build(faulty, "--rejects", "list.txt")
    assert built.exit_code == 2
    assert "--keep-going" in built.stderr


def test_an_old_list_stays_when_there_is_no_folio(build: Build, tmp_path: Path) -> None:
    listed, bad = tmp_path / "list.txt", tmp_path / "bad.jsonl"
    listed.write_text("from last week\n")
    bad.write_text("{\n")
    assert build(bad, "--keep-going", "--rejects", listed).exit_code == 2
    assert listed.read_text() == "from last week\n"


def test_afresh_and_processes_change_nothing_but_the_time(build: Build) -> None:
    said = {build(*chip_files()[:3], *more).stdout for more in ((), ("--afresh",), ())}
    assert said == {build(*chip_files()[:3], "--processes", "2").stdout}


def test_a_terminal_shows_how_many_how_fast_and_how_long(tmp_path: Path, out: Path) -> None:
    command = [
        sys.executable,
        "-c",
        "from pinfolio.plugins.terminal.cli import run; run()",
        "build",
        *map(str, chip_files()),
    ]
    first, second = pty.openpty()
    environment = os.environ | {"XDG_CACHE_HOME": str(tmp_path), "COLUMNS": "120", "TERM": "xterm"}
    running = subprocess.Popen(
        [*command, "-o", str(out)], stdout=subprocess.PIPE, stderr=second, env=environment
    )
    os.close(second)
    shown = b""
    # A terminal that nobody reads fills up, and the command would never end.
    while True:
        try:
            shown += os.read(first, 65536)
        except OSError:
            break
    os.close(first)
    printed, _ = running.communicate()
    assert running.returncode == 0
    assert f"{len(chip_files())}/{len(chip_files())}" in shown.decode()
    assert "chips/s" in shown.decode()
    assert b"chips/s" not in printed
