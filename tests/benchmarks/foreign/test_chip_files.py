"""The foreign chip files are those of an ordinary contributor: they lint without a remark, but for
advice that is right and to be kept in mind."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from boards.hunt import build_folio, call_pinfolio, known_symptoms

from foreign.rgb_electrics import CHIP

CHIP_FILES = sorted((Path(__file__).parent / "chips").glob("*.yaml"))

# The current of the tube makes the volts there, and the drawing ends before the tube.
ADVICE = {"jlm2831": [("advice", "circuit-contradicts")]}


@pytest.mark.parametrize("path", CHIP_FILES, ids=lambda path: path.stem)
def test_lint_finds_nothing(path: Path) -> None:
    code, text = call_pinfolio("lint", "--json", str(path))
    assert code == 0, text
    found = [finding for file in json.loads(text)["files"] for finding in file["findings"]]
    assert [(one["kind"], one["rule"]) for one in found] == ADVICE.get(path.stem, [])
    assert all("foot of the high-voltage winding" in one["found"] for one in found)


@pytest.mark.parametrize("path", CHIP_FILES, ids=lambda path: path.stem)
def test_parts_and_makers_are_marked_as_invented(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert "invented: yes" in text
    assert "# invented" in text


def test_a_symptom_that_the_command_does_not_know_is_not_passed(tmp_path: Path) -> None:
    folio = build_folio(CHIP, tmp_path)
    shown = [("snow in the kitchen", "no picture"), ("lights flicker",)]
    assert known_symptoms(folio, CHIP, shown) == ["no picture"]
