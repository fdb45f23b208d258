"""The figures to read at a pin, with the field, the unit and the limits of each."""

from __future__ import annotations

from pinfolio.plugins.cards.expected_figures import describe_signal, list_expected_figures
from pinfolio.schema import Chip
from pinfolio.schema.chips.lookup import find_pin


def test_a_signal_pin_asks_for_dc_signal_and_frequency(jungle: Chip) -> None:
    pin = find_pin(jungle, "46")
    figures = list_expected_figures(pin, pin.expectation("colour bars"))
    assert [(f.field, f.value, f.limits.short_span, f.units[0]) for f in figures] == [
        ("dc", "3.2 V", "2.82 to 3.58 V", "V"),
        ("vpp", "480 mVpp", "360 to 600 mVpp", "mV"),
        ("freq", "4.43362 MHz", "4.4336 to 4.43364 MHz", "MHz"),
    ]


def test_with_the_set_off_the_resistance_is_asked_for(jungle: Chip) -> None:
    pin = find_pin(jungle, "46")
    (figure,) = list_expected_figures(pin, pin.expectation("off"))
    assert (figure.field, figure.asked) == ("ohms", "resistance to ground, set off")


def test_without_an_expectation_nothing_is_asked_for(jungle: Chip) -> None:
    assert list_expected_figures(find_pin(jungle, "46"), None) == ()


def test_the_frequency_is_told_beside_the_signal(jungle: Chip) -> None:
    expectation = find_pin(jungle, "13").expectation("colour bars")
    assert expectation is not None
    assert describe_signal(expectation) == "at 15.625 kHz"
