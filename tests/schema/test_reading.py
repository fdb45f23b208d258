"""A reading as a technician writes it, in texts under five keys."""

from __future__ import annotations

import pytest
from pinfolio.schema.reading import BadReading, Reading, read_reading


def test_each_key_is_read_in_its_own_unit() -> None:
    written = {"dc": " 3.1 V", "vpp": "450 mVpp", "freq": "15.6 kHz", "ohms": "4k7", "seen": ""}
    assert read_reading(written) == Reading(3.1, 0.45, 15_600.0, 4_700.0)


def test_observations_are_words_between_commas() -> None:
    assert read_reading({"seen": "Hum, clipped,"}).seen == ("hum", "clipped")


def test_an_empty_reading_is_false() -> None:
    assert not read_reading({"dc": None, "vpp": "  "})
    assert read_reading({"dc": "0 V"})


@pytest.mark.parametrize(
    ("written", "message"),
    [
        ({"dc": "3.1"}, "dc: found '3.1', expected a voltage in V"),
        ({"dc": "3 V ± 5 %"}, "dc: found '3 V ± 5 %', expected one figure as it was read"),
        ({"vpp": "-1 Vpp"}, "vpp: found '-1 Vpp'"),
        ({"seen": "blue smoke"}, "seen: found 'blue smoke', expected one of unstable"),
    ],
)
def test_a_reading_that_cannot_be_is_refused(written: dict[str, str], message: str) -> None:
    with pytest.raises(BadReading, match=message):
        read_reading(written)


def test_a_negative_dc_voltage_is_a_reading() -> None:
    assert read_reading({"dc": "-12 V"}).dc_v == -12.0
