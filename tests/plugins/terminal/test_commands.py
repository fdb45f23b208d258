"""The command line: output, exit status, and JSON equal to that of the page."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree

import click
import pytest
from click.testing import CliRunner, Result
from datasette.app import Datasette
from pinfolio.plugins.terminal.cli import COMMANDS, main

Run = Callable[..., Result]


def test_find_by_a_piece_of_the_marking(run: Run) -> None:
    found = run("find", "5752")
    assert found.exit_code == 0
    assert "TQZ5752" in found.stdout
    assert "(invented)" in found.stdout


def test_find_nothing_says_so_and_offers_the_nearest(run: Run) -> None:
    found = run("find", "TQZ58888")
    assert found.exit_code == 1
    assert "nothing found for 'TQZ58888'; nearest parts: TQZ57" in found.stderr


def test_pin_prints_the_card(run: Run) -> None:
    card = run("pin", "TQZ5752", "13").stdout
    for words in ("3.4 V (3.06 V to 3.74 V, stated)", "1 Vpp at 15.625 kHz", "per division"):
        assert words in card
    assert "Invented example" in card
    assert "isolation transformer" in card


def test_chip_prints_every_pin(run: Run) -> None:
    lines = run("chip", "TQZ5752").stdout.splitlines()
    numbers = {line.split()[0] for line in lines if line.strip()[:1].isdigit()}
    assert {str(number) for number in range(1, 53)} <= numbers


@pytest.mark.parametrize(
    ("arguments", "status", "said"),
    [
        (("pin", "TQZ5725", "1"), 1, "no chip 'TQZ5725' in this folio; the nearest are TQZ5752"),
        (("pin", "TQZ5752", "53"), 1, "no pin '53' on TQZ5752; it has pins 1 to 52"),
        (("pin", "TQZ5752", "1", "--condition", "dark"), 1, "no condition 'dark' for TQZ5752"),
        (("fidn", "x"), 2, "did you mean 'find'?"),
        (("find",), 2, "Missing argument"),
        (("find", "x", "--folio", "/nowhere/folio.db"), 2, "no such file; build it"),
    ],
)
def test_what_cannot_be_answered(
    run: Run, arguments: tuple[str, ...], status: int, said: str
) -> None:
    answer = run(*arguments)
    assert answer.exit_code == status
    assert said in answer.stderr
    assert "Traceback" not in answer.output


@pytest.mark.parametrize(
    ("arguments", "address"),
    [
        (("find", "sync"), "/find.json?q=sync"),
        (("chip", "TQZ5752"), "/chip/TQZ5752.json"),
        (("pin", "TQZ5752", "22"), "/chip/TQZ5752/22.json"),
        (
            ("pin", "TQZ5752", "22", "--condition", "no signal"),
            "/chip/TQZ5752/22.json?condition=no+signal",
        ),
    ],
)
async def test_json_is_the_document_of_the_page(
    run: Run, site: Datasette, arguments: tuple[str, ...], address: str
) -> None:
    printed = json.loads(run(*arguments, "--json").stdout)
    assert (await site.client.get(address)).json() == printed


@pytest.mark.parametrize(
    "arguments", [("pin", "TQZ5752", "13"), ("chip", "TQZ5752", "--side", "solder")]
)
def test_svg_files_are_whole(run: Run, tmp_path: Path, arguments: tuple[str, ...]) -> None:
    out = tmp_path / "drawing.svg"
    assert run(*arguments, "--svg", out).exit_code == 0
    assert ElementTree.parse(out).getroot().tag == "{http://www.w3.org/2000/svg}svg"
    again = run(*arguments, "--svg", tmp_path / "none" / "x.svg")
    assert (again.exit_code, "cannot be written" in again.stderr) == (2, True)


def test_schema_prints_json_schema() -> None:
    schema = json.loads(CliRunner().invoke(main, ["schema"]).stdout)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert "pins" in schema["required"]


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_with_an_example_or_a_word_on_its_use(name: str) -> None:
    helped = CliRunner().invoke(main, [name, "--help"])
    assert helped.exit_code == 0
    assert len(helped.stdout.splitlines()) > 5


def test_the_help_lists_each_command_with_the_first_line_of_its_own_help() -> None:
    listed = " ".join(CliRunner().invoke(main, ["--help"]).stdout.split())
    for name in COMMANDS:
        command = main.get_command(click.Context(main), name)
        assert command is not None
        assert f"{name} {(command.help or '').splitlines()[0]}" in listed


def test_hostile_text_is_shown_not_obeyed(run: Run) -> None:
    answer = run("find", "\x1b[2J\u202eXX")
    assert "\x1b" not in answer.output
    assert "\u202e" not in answer.output
