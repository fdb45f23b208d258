"""Codes printed on parts, against outside lists and libraries."""

from __future__ import annotations

import eseries
import pytest
import rkm_codes
from pinfolio.schema import parse_quantity


@pytest.mark.parametrize(
    ("code", "ohms"),
    [
        ("R47", 0.47),
        ("4R7", 4.7),
        ("470R", 470.0),
        ("4K7", 4.7e3),
        ("47K", 47e3),
        ("47K3", 47.3e3),
        ("470K", 470e3),
        ("4M7", 4.7e6),
    ],
)
def test_resistors_as_in_the_standard(code: str, ohms: float) -> None:
    """IEC 60062:2016, letter and digit code; read via an encyclopedia's table of it."""
    assert parse_quantity(code, "Ω").nominal == ohms


@pytest.mark.parametrize("series", [eseries.E24, eseries.E96])
@pytest.mark.parametrize(("unit", "base"), [("Ω", 1e3), ("Ω", 10e3), ("F", 1e-9), ("F", 1e-6)])
def test_series_values_as_the_library_writes_them(
    series: eseries.ESeries, unit: str, base: float
) -> None:
    """IEC 60063 values from the library ``eseries``, coded by the library ``rkm_codes``."""
    for value in eseries.erange(series, base, base * 9.99):
        code = rkm_codes.to_rkm(f"{value:.4g}", prec=2)
        assert parse_quantity(code, unit).nominal == pytest.approx(value, rel=1e-3), code


@pytest.mark.parametrize(
    ("mark", "farads"),
    [("104", 100e-9), ("473", 47e-9), ("222", 2.2e-9), ("101", 100e-12), ("479", 4.7e-12)],
)
def test_three_digit_marks_of_capacitors(mark: str, farads: float) -> None:
    """Two digits and the number of zeros, in picofarad; 9 means times 0.1. Common practice."""
    assert parse_quantity(mark, "F").nominal == pytest.approx(farads, rel=1e-12)


@pytest.mark.parametrize(
    ("letter", "percent"),
    [("F", 1), ("G", 2), ("J", 5), ("K", 10), ("M", 20)],
)
def test_tolerance_letters(letter: str, percent: float) -> None:
    """IEC 60062:2016, clause on tolerance letters (from memory)."""
    marked = parse_quantity(f"473{letter}", "F")
    assert marked.low == pytest.approx(47e-9 * (1 - percent / 100))
    assert marked.high == pytest.approx(47e-9 * (1 + percent / 100))
