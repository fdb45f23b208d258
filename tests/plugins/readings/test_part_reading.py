"""A part out of circuit as technicians write it down, and the reading of a pin in one line."""

from __future__ import annotations

import pytest
from pinfolio.plugins.readings.checks import PinReading
from pinfolio.plugins.readings.part_reading import PartReading, parse_part_reading
from pinfolio.plugins.readings.reading_syntax import parse_reading, split_figures
from pinfolio.schema.reading import BadReading, Reading


@pytest.mark.parametrize(
    ("text", "finding"),
    [
        ("C418 leaky", PartReading("C418", "leaky")),
        ("C418: Open", PartReading("C418", "open")),
        ("R402 measures 5k2", PartReading("R402", "5k2")),
        ("R402: 5k2", PartReading("R402", "5k2")),
        ("C7 is dried  out", PartReading("C7", "dried out")),
        ("R402 5k2", None),  # no word, no verb, no colon: not about a part
        ("17 leaky", None),  # a bare number is a pin
        ("17 dc=3.1V", None),
    ],
)
def test_a_finding_needs_a_reference_and_a_word_or_a_verb(
    text: str, finding: PartReading | None
) -> None:
    assert parse_part_reading(text) == finding


def test_a_line_is_about_a_part_or_a_pin() -> None:
    assert parse_reading("C418 leaky") == PartReading("C418", "leaky")
    assert parse_reading("SYNC IN dc=3.1V seen=hum") == PinReading(
        "SYNC IN", Reading(dc_v=3.1, seen=("hum",))
    )


@pytest.mark.parametrize("text", ["", "17", "dc=3.1V", "17 volts=3.1"])
def test_a_line_without_pin_or_figure_is_refused(text: str) -> None:
    with pytest.raises(BadReading, match="expected a reading such as"):
        parse_reading(text)


def test_figures_are_split_off_by_name() -> None:
    assert split_figures("17 dc=3.1 V freq=15.1kHz") == (
        "17",
        {"dc": "3.1 V", "freq": "15.1kHz"},
    )
    assert split_figures("dc=3.1V") == ("", {"dc": "3.1V"})
