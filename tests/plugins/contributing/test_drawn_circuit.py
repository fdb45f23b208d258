"""Advice where the drawn circuit cannot produce the stated figures."""

from __future__ import annotations

import math
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


def read_example(fragment: str) -> bytes:
    """The example with the fragment's keys in place of its own, pins by their numbers."""
    whole, new = yaml.safe_load(EXAMPLE_CHIP), yaml.safe_load(fragment)
    pins = {pin["number"]: pin for pin in [*whole["pins"], *new.pop("pins", [])]}
    document = whole | new | {"pins": list(pins.values())}
    return yaml.safe_dump(document, sort_keys=False, allow_unicode=True).encode()


def test_two_equal_resistors_halve_the_supply() -> None:
    (found,) = find_contradictions(read_chip(read_example(RULE.bad), "bad"))
    assert found.rule == RULE.name
    made = re.search(r"it makes ([0-9.]+) V, not 9 V", found.problem)
    assert made is not None
    assert float(made[1]) == pytest.approx(8 / 2, rel=0.05), "drawn within 5 %"
    assert list(find_contradictions(read_chip(read_example(RULE.good), "good"))) == []


def test_it_is_told_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "bad.yaml"
    path.write_text(EXAMPLE_CHIP + RULE.bad, encoding="utf-8")
    (note,) = lint_file(path).notes
    assert note.rule == RULE.name
    assert "condition: colour bars" in path.read_text(encoding="utf-8").splitlines()[note.line - 1]


@pytest.mark.parametrize("path", chip_files(), ids=lambda path: path.stem)
def test_the_drawn_boards_of_the_demo_make_what_is_stated(path: Path) -> None:
    assert [found.problem for found in find_contradictions(load_chip(path))] == []


BURST = find_rule("roll-off-forgotten")


def left_behind(ohm: float, farad: float, hz: float) -> float:
    """Return the share that one resistor and one capacitor to ground pass: 1/√(1 + (ωRC)²).

    Source: the low-pass of any circuit textbook.
    """
    return 1 / math.hypot(1, 2 * math.pi * hz * ohm * farad)


def test_a_whole_burst_behind_a_roll_off_is_found_with_what_is_left_of_it() -> None:
    """1 kΩ and 220 pF; the burst of PAL is 0.3 V of 1 V at 4.43361875 MHz (ITU-R BT.470)."""
    (found,) = find_contradictions(read_chip(read_example(BURST.bad), "bad"))
    assert found.rule == BURST.name
    assert "states 300 mVpp at 4.433619 MHz in 'colour bars'" in found.problem
    left = re.fullmatch(r"burst: ([0-9.]+) mVpp", found.write or "")
    assert left is not None
    share = left_behind(1e3, 220e-12, 4.43361875e6)
    assert float(left[1]) == pytest.approx(300 * share, rel=0.06), "drawn within 5 %"
    assert list(find_contradictions(read_chip(read_example(BURST.good), "good"))) == []


def test_the_place_of_a_forgotten_roll_off_is_its_waveform() -> None:
    (found,) = find_contradictions(read_chip(read_example(BURST.bad), "bad"))
    assert found.at == ("application", "nodes", 0, "expectations", 0, "waveform")


@pytest.mark.parametrize(
    ("part", "pin", "ohm", "farad", "subcarrier_hz", "sent_v"),
    [
        ("tqz5752", 13, 820, 220e-12 + 8e-12, 4.43361875e6, 0.300),
        ("kye2620", 5, 680, 220e-12 + 6e-12, 4.43361875e6, 0.600),
        ("ogx7342", 37, 680, 470e-12 + 8e-12, 315e6 / 88, 40 / 140),
    ],
)
def test_the_sync_inputs_of_the_demo_state_the_burst_that_is_left(
    part: str, pin: int, ohm: float, farad: float, subcarrier_hz: float, sent_v: float
) -> None:
    """The capacitor of the roll-off and the pin's own; the burst of NTSC is 40 of 140 IRE."""
    chip = load_chip(next(path for path in chip_files() if path.stem == part))
    expectation = chip.pins[pin - 1].expectation("colour bars")
    assert expectation is not None
    stated_v = expectation.waveform.burst.nominal  # type: ignore[union-attr]
    assert stated_v == pytest.approx(sent_v * left_behind(ohm, farad, subcarrier_hz), rel=0.03)
