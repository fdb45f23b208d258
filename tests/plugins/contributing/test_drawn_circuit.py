"""Advice where the drawn circuit cannot produce the stated figures."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import yaml
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip, read_chip
from pinfolio.plugins.contributing.drawn_circuit import find_contradictions
from pinfolio.plugins.contributing.lint import lint_file
from pinfolio.schema.rules import EXAMPLE_CHIP, find_rule

RULE = find_rule("circuit-contradicts")


def example(fragment: str) -> bytes:
    document = yaml.safe_load(EXAMPLE_CHIP) | yaml.safe_load(fragment)
    return yaml.safe_dump(document, sort_keys=False, allow_unicode=True).encode()


def test_two_equal_resistors_halve_the_supply() -> None:
    (found,) = find_contradictions(read_chip(example(RULE.bad), "bad"))
    assert found.rule == RULE.name
    made = re.search(r"it makes ([0-9.]+) V, not 9 V", found.problem)
    assert made is not None
    assert float(made[1]) == pytest.approx(8 / 2, rel=0.05), "drawn within 5 %"
    assert list(find_contradictions(read_chip(example(RULE.good), "good"))) == []


def test_it_is_told_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "bad.yaml"
    path.write_text(EXAMPLE_CHIP + RULE.bad, encoding="utf-8")
    (note,) = lint_file(path).notes
    assert note.rule == RULE.name
    assert "condition: colour bars" in path.read_text(encoding="utf-8").splitlines()[note.line - 1]


@pytest.mark.parametrize("path", chip_files(), ids=lambda path: path.stem)
def test_the_drawn_boards_of_the_demo_make_what_is_stated(path: Path) -> None:
    assert [found.problem for found in find_contradictions(load_chip(path))] == []


def test_guessed_kinds_are_shown_as_guesses(tmp_path: Path) -> None:
    path = tmp_path / "chip.yaml"
    path.write_text(EXAMPLE_CHIP, encoding="utf-8")
    assert lint_file(path).guessed_kinds == (("amplifier", "amplifier"),)
