"""Codes printed on parts, against outside lists and libraries."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import eseries
import pytest
import rkm_codes
from pinfolio.schema import parse_quantity, print_value


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
        assert parse_quantity(code, unit).nominal == pytest.approx(value, rel=1e-12), code


@pytest.mark.parametrize("series", [eseries.E24, eseries.E96])
@pytest.mark.parametrize(("unit", "decade"), [("Ω", 1.0), ("Ω", 1e6), ("F", 1e-12), ("H", 1e-6)])
def test_series_values_survive_printing(series: eseries.ESeries, unit: str, decade: float) -> None:
    """IEC 60063: three figures, as printed for the bench, hold every value of E24 and E96."""
    for value in eseries.erange(series, decade, decade * 9.99):
        printed = print_value(value, unit)
        assert parse_quantity(printed, unit).nominal == pytest.approx(value, rel=1e-12), printed


@pytest.mark.parametrize(
    ("code", "unit"),
    [
        *((code, "Ω") for code in ("R1", "4R7", "47R", "4k7", "4K7", "10M", "1G5", "2T2", "4L7")),
        *((code, "F") for code in ("8p2", "p47", "100n", "4n7", "2u2", "2µ2", "1m5", "1F0")),
    ],
)
def test_letters_mean_what_the_library_takes_them_for(code: str, unit: str) -> None:
    """Every multiplier letter of IEC 60062, decoded by the library ``rkm_codes``.

    The library also knows spellings beside the standard (r and l in lower case, C for farad),
    which are not read here.
    """
    with use_rkm_codes_with_units():
        expected = rkm_codes.from_rkm(code)
    assert expected.units == unit
    assert parse_quantity(code, unit).nominal == pytest.approx(float(expected), rel=1e-12)


@contextmanager
def use_rkm_codes_with_units() -> Iterator[None]:
    rkm_codes.set_prefs(rkm_maps=rkm_codes.IEC60062_MAPS)
    try:
        yield
    finally:
        rkm_codes.set_prefs(rkm_maps=None)


@pytest.mark.parametrize(
    ("mark", "farads"),
    [("104", 100e-9), ("473", 47e-9), ("222", 2.2e-9), ("101", 100e-12), ("479", 4.7e-12)],
)
def test_three_digit_marks_of_capacitors(mark: str, farads: float) -> None:
    """Two digits and the number of zeros, in picofarad; 9 means times 0.1. Common practice."""
    assert parse_quantity(mark, "F").nominal == pytest.approx(farads, rel=1e-12)


@pytest.mark.parametrize(
    ("letter", "percent"),
    [
        ("B", 0.1),
        ("C", 0.25),
        ("D", 0.5),
        ("F", 1),
        ("G", 2),
        ("J", 5),
        ("K", 10),
        ("M", 20),
        ("N", 30),
    ],
)
def test_tolerance_letters(letter: str, percent: float) -> None:
    """IEC 60062:2016, clause on tolerance letters (from memory). D to N also stand in the code
    chart of a television service manual, B and C in a radio amateur's list: common practice."""
    marked = parse_quantity(f"473{letter}", "F")
    assert marked.low == pytest.approx(47e-9 * (1 - percent / 100))
    assert marked.high == pytest.approx(47e-9 * (1 + percent / 100))
