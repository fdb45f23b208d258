"""A unit chosen beside a field belongs to its bare figure, and to nothing else."""

from __future__ import annotations

import pytest
from pinfolio.plugins.readings.field_units import choose_units, complete_units


@pytest.mark.parametrize(
    ("typed", "unit", "read"),
    [
        ("470", "mV", "470 mV"),
        ("0,47", "V", "0,47 V"),
        ("-3.1", "V", "-3.1 V"),
        ("470m", "V", "470m"),
        ("0.47 V", "mV", "0.47 V"),
        ("none", "mV", "none"),
        ("", "mV", ""),
        ("470", "<b>", "470"),
    ],
)
def test_a_bare_figure_takes_the_unit_that_was_chosen(typed: str, unit: str, read: str) -> None:
    fields = [("at", "46"), ("vpp", typed), ("vpp_unit", unit)]
    assert complete_units(fields) == [("at", "46"), ("vpp", read)]


def test_a_unit_belongs_to_the_field_before_it() -> None:
    fields = [("vpp", "1"), ("vpp_unit", "V"), ("at", "7"), ("vpp", "2"), ("vpp_unit", "mV")]
    assert complete_units(fields) == [("vpp", "1 V"), ("at", "7"), ("vpp", "2 mV")]


@pytest.mark.parametrize(
    ("unit", "typical", "first"),
    [
        ("Vpp", 0.48, "mV"),
        ("Vpp", 2.7, "V"),
        ("V", 0.0, "V"),
        ("Hz", 50.0, "Hz"),
        ("Hz", 15625.0, "kHz"),
        ("Hz", 500e3, "kHz"),
        ("Hz", 4.43361875e6, "MHz"),
        ("Ω", 75.0, "Ω"),
        ("Ω", 11400.0, "kΩ"),
    ],
)
def test_the_likeliest_unit_comes_first(unit: str, typical: float, first: str) -> None:
    units = choose_units(unit, typical)
    assert units[0] == first
    assert len(units) == 2
