"""The README's tour is real output, and every command in the documentation exists."""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml
from click.testing import CliRunner
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import read_chip
from pinfolio.loaders.folio.build import build_folio
from pinfolio.plugins.terminal.cli import COMMANDS, main

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
SHOWN = re.findall(r"```console\n(.*?)```", README, re.DOTALL)
TOUR = [
    (command, printed)
    for block in SHOWN
    for command, printed in re.findall(r"\$ pinfolio (.+?)\n(.*?)(?=\n?\$ |\Z)", block, re.DOTALL)
]


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to work in, with the demo folio and the table that the tour drafts from."""
    folio = tmp_path / "demo.db"
    build_folio(chip_files(), folio)
    shutil.copy(Path(__file__).parent / "tour" / "qz5710.csv", tmp_path)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("PINFOLIO_FOLIO", str(folio))
    for name in ("XDG_CONFIG_HOME", "XDG_CACHE_HOME", "XDG_DATA_HOME"):
        monkeypatch.setenv(name, str(tmp_path))
    return tmp_path


def test_the_tour_shows_what_the_commands_print(bench: Path) -> None:
    """The commands run one after another, as a reader would type them."""
    missing = {}
    for command, shown in TOUR:
        printed = CliRunner().invoke(main, shlex.split(command)).output
        lines = {line.rstrip() for line in printed.splitlines()}
        pieces = [line for line in shown.splitlines() if line != "…"]
        missing[command] = [line for line in pieces if not _is_shown(line, lines)]
    assert {command: lines for command, lines in missing.items() if lines} == {}


def _is_shown(line: str, printed: set[str]) -> bool:
    """Return whether a line was printed; one that ends in … needs only its beginning."""
    if line.endswith("…"):
        return any(each.startswith(line[:-1]) for each in printed)
    return line in printed


def test_the_python_example_runs(bench: Path) -> None:
    (code,) = re.findall(r"```python\n(.*?)```", README, re.DOTALL)
    names: dict[str, Any] = {}
    exec(code, names)
    # Sync tip to white is 1 V; black to white 0.7 V of it (Recommendation ITU-R BT.470-6).
    assert np.ptp(names["volts"]) == pytest.approx(1.0, abs=0.08)
    assert "<svg" in names["card"]._repr_html_()


def test_there_is_a_tour_with_pictures() -> None:
    assert len(TOUR) >= 3
    for picture in re.findall(r"!\[[^\]]+\]\(([^)]+)\)", README):
        assert (ROOT / picture).is_file()


def test_every_command_is_documented_and_every_documented_one_exists() -> None:
    pages = [ROOT / "DEVELOPERS.md", *ROOT.glob("*/*/README.md")]
    text = README + "".join(page.read_text(encoding="utf-8") for page in pages)
    named = set(re.findall(r"\bpinfolio ([a-z]+(?:-[a-z]+)*)\b(?! 1\b)", text))
    assert set(COMMANDS) <= named
    assert named - set(COMMANDS) == set()


def test_the_job_comes_first_then_two_commands() -> None:
    title, job, *_ = README.split("\n\n")
    assert title == "# pinfolio"
    assert job.startswith("A television, recorder or monitor is open on the bench")
    blocks = re.findall(r"```\n(python3 -m venv [^\n]+)\n```", README)
    assert len(blocks) == 2
    assert blocks[0].endswith(".venv/bin/pinfolio demo")
    assert blocks[1].endswith(".venv/bin/pytest")


def test_the_hooks_call_commands_that_there_are() -> None:
    hooks = yaml.safe_load((ROOT / ".pre-commit-hooks.yaml").read_text(encoding="utf-8"))
    for hook in hooks:
        program, command = hook["entry"].split()
        assert (program, command in COMMANDS) == ("pinfolio", True)


def test_the_line_that_binds_a_schema_is_read_over() -> None:
    """A chip file may begin with the line by which editors find its schema."""
    text = "# yaml-language-server: $schema=chip.schema.json\n"
    data = text.encode() + chip_files()[0].read_bytes()
    assert read_chip(data, "chip.yaml").invented
