"""Quantities as people write them, read once into SI numbers, and printed for the bench."""

from __future__ import annotations

import doctest
import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.schema.quantities import (
    UNITS,
    Quantity,
    QuantityError,
    parse_quantity,
    print_quantity,
    print_value,
)
from pinfolio.schema.quantities import quantity as quantity_module
from pinfolio.schema.quantities.units import WITHOUT_PREFIX


def test_the_examples_in_the_module_are_true() -> None:
    tried = doctest.testmod(quantity_module)
    assert tried.attempted > 0
    assert tried.failed == 0


@pytest.mark.parametrize(
    ("written", "unit", "typ", "low", "high"),
    [
        ("5 V", "V", 5.0, None, None),
        ("5V", "V", 5.0, None, None),
        ("-12.5 V", "V", -12.5, None, None),
        ("450 mVpp", "Vpp", 0.45, None, None),
        ("0.3 V p-p", "Vpp", 0.3, None, None),
        ("15.625 kHz", "Hz", 15625.0, None, None),
        ("3.579545 MHz ± 50 ppm", "Hz", 3579545.0, 3579366.02275, 3579723.97725),
        ("64 µs", "s", 64e-6, None, None),
        ("64 us", "s", 64e-6, None, None),
        ("10 μH", "H", 10e-6, None, None),  # Greek mu
        ("4.7 kΩ", "Ω", 4700.0, None, None),
        ("4.7 kohm", "Ω", 4700.0, None, None),
        ("4.7 k", "Ω", 4700.0, None, None),
        ("47 R", "Ω", 47.0, None, None),
        ("4k7", "Ω", 4700.0, None, None),
        ("R47", "Ω", 0.47, None, None),
        ("2M2", "Ω", 2.2e6, None, None),
        ("8p2", "F", 8.2e-12, None, None),
        ("100n", "F", 100e-9, None, None),
        ("104", "F", 100e-9, None, None),
        ("473K", "F", 47e-9, 42.3e-9, 51.7e-9),
        ("75 %", "%", 75.0, None, None),
        ("50 ppm", "ppm", 50.0, None, None),
        ("4.2 V ± 5 %", "V", 4.2, 3.99, 4.41),
        ("4.2 V +/- 0.2 V", "V", 4.2, 4.0, 4.4),
        ("10 µF +80/-20 %", "F", 10e-6, 8e-6, 18e-6),
        ("4.0 .. 4.6 V", "V", None, 4.0, 4.6),
        ("4 V to 4.6 V", "V", None, 4.0, 4.6),
        ("typ 4.3 V max 4.8 V", "V", 4.3, None, 4.8),
        ("min 4 V typ 4.3 V max 4.8 V", "V", 4.3, 4.0, 4.8),
        ("135°", "°", 135.0, None, None),
        ("-20 dB", "dB", -20.0, None, None),
    ],
)
def test_what_people_write(
    written: str, unit: str, typ: float | None, low: float | None, high: float | None
) -> None:
    read = parse_quantity(written, unit)
    for found, expected in ((read.typ, typ), (read.low, low), (read.high, high)):
        assert found == (None if expected is None else pytest.approx(expected, rel=1e-12))
    assert str(read) == written


@pytest.mark.parametrize(
    ("written", "unit", "told"),
    [
        ("5", "V", "expected a voltage in V, with its unit; write '5 V'"),
        ("4.7", "Ω", "with its unit; write '4.7 Ω'"),
        ("47", "F", "write '47 pF or 47 µF'"),
        ("5 kHz", "V", "expected a voltage in V, not a frequency"),
        ("12 mA", "V", "expected a voltage in V, not a current"),
        ("1.6 V", "Vpp", "not a voltage; write '1.6 Vpp'"),
        ("5 mv", "V", "write '5 mV'"),
        ("22 uf", "F", "write '22 uF'"),
        ("12,5 V", "V", "no comma in a number; write '12.5 V'"),
        ("1,000 Hz", "Hz", "write '1.000 Hz or 1000 Hz'"),
        ("4.0-4.6 V", "V", "write '4.0 .. 4.6 V'"),
        ("5 V (10 %)", "V", "write '5 V ± 10 %'"),
        ("5 V 4 V", "V", "expected a voltage"),
        ("5 .. 4 V", "V", "rising order"),
        ("0 V ± 5 %", "V", "a share of zero is zero"),
        ("10² V", "V", "expected a voltage"),
        ("", "V", "expected a voltage in V, such as 4.2 V"),
        ("1e999 V", "V", "finite"),
        ("V" * 500, "V", "in a few words"),
    ],
)
def test_what_is_refused_is_shown_right(written: str, unit: str, told: str) -> None:
    with pytest.raises(QuantityError) as refused:
        parse_quantity(written, unit)
    assert told in str(refused.value)


@pytest.mark.parametrize(
    ("value", "unit", "printed"),
    [
        (5.0, "V", "5 V"),
        (0.0, "V", "0 V"),
        (-0.5, "V", "-500 mV"),
        (15625.0, "Hz", "15.6 kHz"),
        (999.6, "Hz", "1 kHz"),
        (4433618.75, "Hz", "4.43 MHz"),
        (64e-6, "s", "64 µs"),
        (4700.0, "Ω", "4.7 kΩ"),
        (8.2e-12, "F", "8.2 pF"),
        (75.0, "%", "75 %"),
        (1500.0, "%", "1500 %"),
        (135.0, "°", "135°"),
        (math.inf, "V", "inf V"),
    ],
)
def test_printing_takes_the_prefix_that_fits_and_three_figures(
    value: float, unit: str, printed: str
) -> None:
    assert print_value(value, unit) == printed


@pytest.mark.parametrize(
    ("written", "unit", "printed"),
    [
        ("100n ±10%", "F", "100 nF ± 10 %"),
        ("473K", "F", "47 nF ± 10 %"),
        ("3.579545 MHz ± 50 ppm", "Hz", "3.579545 MHz ± 0.005 %"),
        ("4.20 V +/- 0.15 V", "V", "4.2 V ± 150 mV"),
        ("4.0 .. 4.6 V", "V", "4 V .. 4.6 V"),
        ("max 4.8 V typ 4.3 V", "V", "typ 4.3 V max 4.8 V"),
        ("10 µF +80/-20 %", "F", "min 8 µF typ 10 µF max 18 µF"),
    ],
)
def test_limits_are_printed_the_short_way(written: str, unit: str, printed: str) -> None:
    assert print_quantity(parse_quantity(written, unit)) == printed


def test_the_middle_of_a_range_is_its_nominal_value() -> None:
    assert parse_quantity("4.0 .. 4.6 V", "V").nominal == 4.3


def test_a_missing_limit_is_assumed_and_said_so() -> None:
    typical, stated = parse_quantity("4 V", "V"), parse_quantity("4 V ± 5 %", "V")
    assert (typical.tolerance_stated, stated.tolerance_stated) == (False, True)
    assert typical.limits(10) == (3.6, 4.4)
    assert stated.limits(10) == (3.8, 4.2)


def test_however_it_is_written_it_is_the_same() -> None:
    assert parse_quantity("4k7", "Ω") == parse_quantity("4.7 kΩ", "Ω") == Quantity("Ω", 4700.0)


numbers = st.floats(-1e12, 1e12, allow_nan=False).map(lambda x: float(f"{x:.6g}"))
sizes = st.floats(1e-12, 1e12).map(lambda x: float(f"{x:.6g}"))
units = st.sampled_from(sorted(UNITS))


@given(units, numbers)
def test_a_printed_value_reads_back(unit: str, value: float) -> None:
    assert parse_quantity(print_value(value, unit, None), unit).typ == value


@given(
    units.filter(lambda unit: unit not in WITHOUT_PREFIX), st.lists(sizes, min_size=1, max_size=3)
)
def test_a_printed_quantity_reads_back(unit: str, values: list[float]) -> None:
    """parse(print(x)) == x, whichever of minimum, typical and maximum are known."""
    low, typ, high = [*sorted(values), None, None][:3]
    for quantity in (
        Quantity(unit, typ, low, high),
        Quantity(unit, low, None, typ),
        Quantity(unit, None, low, typ),
    ):
        assert parse_quantity(print_quantity(quantity), unit) == quantity


@given(units, st.text(max_size=150))
def test_garbage_is_refused_and_never_crashes(unit: str, garbage: str) -> None:
    try:
        quantity = parse_quantity(garbage, unit)
    except QuantityError:
        return
    assert math.isfinite(quantity.nominal)


@given(units, st.text("0123456789.,±%+-/ kKMmµunpRVpΩFHzs..typminmax", max_size=24))
def test_near_misses_are_refused_and_never_crash(unit: str, garbage: str) -> None:
    try:
        quantity = parse_quantity(garbage, unit)
    except QuantityError:
        return
    assert parse_quantity(print_quantity(quantity), unit) == quantity


@pytest.mark.parametrize("text", ["3.58 mhz", "3.58mHZ", "4.43 mhz ± 50 ppm"])
def test_a_careless_megahertz_is_not_read_as_millihertz(text: str) -> None:
    with pytest.raises(QuantityError) as refused:
        parse_quantity(text, "Hz")
    assert refused.value.write == re.sub("(?i)mhz", "MHz", text)
