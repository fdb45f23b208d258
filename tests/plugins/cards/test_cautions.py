"""Cautions at the pins that need them. 60 V DC limits class ES1 of IEC 62368-1 (from memory)."""

from __future__ import annotations

import pytest
from pinfolio.plugins.cards.cautions import (
    GENERAL,
    list_cautions,
    list_cautions_at,
    may_probe,
)
from pinfolio.schema import Chip

SET = "Live chassis: Use an isolation transformer."
OVER_60_V = "More than 60 V here: keep one hand off, check the probe's rating first."


def cautions(chip: Chip, number: int) -> tuple[str, ...]:
    return list_cautions(chip, chip.pins[number - 1])


def test_an_ordinary_pin_has_those_of_the_set(chip: Chip) -> None:
    assert cautions(chip, 1) == (SET, GENERAL)


def test_a_hazard_of_the_pin_comes_first(chip: Chip) -> None:
    assert cautions(chip, 4)[0] == "High voltage: 60 V here. Do not probe this point."


def test_exactly_sixty_volts_are_within_the_limit(chip: Chip) -> None:
    assert OVER_60_V not in cautions(chip, 4)


def test_the_peak_of_a_waveform_counts(chip: Chip) -> None:
    """130 Vpp reach 65 V to either side."""
    assert OVER_60_V in cautions(chip, 5)
    assert OVER_60_V not in cautions(chip, 2)


def test_an_oscillator_asks_for_a_x10_probe(chip: Chip) -> None:
    assert cautions(chip, 3)[0].startswith("Use a x10 probe")


def test_a_place_is_a_pin_or_a_node(chip: Chip) -> None:
    assert list_cautions_at(chip, "pin 4") == cautions(chip, 4)
    assert list_cautions_at(chip, "tuner") == (SET, "High voltage: Not for fingers.", GENERAL)


@pytest.mark.parametrize(("at", "allowed"), [("pin 4", False), ("tuner", True), ("pin 1", True)])
def test_a_forbidden_point_is_never_probed(chip: Chip, at: str, allowed: bool) -> None:
    assert may_probe(chip, at) == allowed
