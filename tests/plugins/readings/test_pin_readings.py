"""The figures of one pin, in options, forms and addresses."""

from __future__ import annotations

import pytest
from pinfolio.plugins.readings.pin_readings import read_fields
from pinfolio.schema.reading import BadReading, Reading


def test_each_key_is_read_in_its_own_unit() -> None:
    written = {"dc": " 3.1", "vpp": "450m", "freq": "15.6 kHz", "ohms": "4k7", "seen": ""}
    reading = read_fields(written)
    assert reading._replace(half_digits=()) == Reading(3.1, 0.45, 15_600.0, 4_700.0)
    assert dict(reading.half_digits) == pytest.approx(
        {"dc": 0.05, "vpp": 0.5e-3, "frequency": 50.0, "resistance": 50.0}
    )


def test_observations_are_words_between_commas() -> None:
    assert read_fields({"seen": "Hum, jumping,"}).seen == ("hum", "unstable")


def test_a_word_for_one_figure() -> None:
    assert read_fields({"dc": "ok", "vpp": "skip"}) == Reading(words=(("dc", "as expected"),))
    assert read_fields({"vpp": "dead"}) == Reading(seen=("missing",))


def test_of_a_range_the_middle_is_kept_and_that_it_wandered() -> None:
    assert read_fields({"freq": "0.9..1.2 MHz"}) == Reading(
        frequency_hz=pytest.approx(1.05e6), seen=("unstable",)
    )


def test_an_empty_reading_is_false() -> None:
    assert not read_fields({"dc": None, "vpp": "  "})
    assert read_fields({"dc": "0 V"})


@pytest.mark.parametrize(
    ("written", "message"),
    [
        ({"dc": "3.1 Hz"}, "dc '3.1 Hz': expected a voltage in V.* or one of the words ok"),
        ({"dc": "3 V ± 5 %"}, "dc '3 V ± 5 %': expected one figure as it was read"),
        ({"vpp": "-1 Vpp"}, "vpp '-1 Vpp'"),
        ({"seen": "blue smoke"}, "seen 'blue smoke': expected one of missing, unstable"),
    ],
)
def test_a_reading_that_cannot_be_is_refused(written: dict[str, str], message: str) -> None:
    with pytest.raises(BadReading, match=message):
        read_fields(written)


def test_a_negative_dc_voltage_is_a_reading() -> None:
    assert read_fields({"dc": "-12 V"}).dc_v == -12.0
