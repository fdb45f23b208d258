"""The README's tour is real output, and every command in the documentation exists."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
import yaml
from click.testing import CliRunner
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import read_chip
from pinfolio.loaders.folio.build import build_folio
from pinfolio.plugins.terminal.cli import COMMANDS, main

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
TOUR = re.findall(r"```console\n\$ pinfolio (.+?)\n(.*?)```", README, re.DOTALL)


@pytest.mark.parametrize(("command", "shown"), TOUR, ids=[command for command, _ in TOUR])
def test_the_tour_shows_what_the_command_prints(
    command: str, shown: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folio = tmp_path / "demo.db"
    build_folio(chip_files(), folio)
    monkeypatch.setenv("PINFOLIO_FOLIO", str(folio))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    printed = CliRunner().invoke(main, shlex.split(command)).output
    lines = {line.rstrip() for line in printed.splitlines()}
    missing = [line for line in shown.splitlines() if line != "…" and line not in lines]
    assert missing == []


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
