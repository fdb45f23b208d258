"""A record in words, and its channels by name, number or place."""

from __future__ import annotations

import numpy as np
import pytest
from pinfolio.loaders.captures.capture import Capture, UnknownChannel


def make_capture(*names: str) -> Capture:
    t_s = np.arange(4) * 1e-6
    channels = tuple(n + np.array([0.0, 1.0, 0.5, 0.25]) for n in range(len(names)))
    return Capture(t_s, channels, 1e-6, names, ("No unit is stated for CH1: taken as volts",))


@pytest.mark.parametrize(
    ("names", "wanted", "index"),
    [
        (("CH1", "CH3"), "CH3", 1),
        (("CH1", "CH3"), "ch3", 1),
        (("CH1", "CH3"), "3", 1),
        (("CH2", "CH4"), "2", 0),
        (("luma", "chroma"), "2", 1),
        (("1", "2"), "2", 1),
        (("CH1", "CH10"), "1", 0),
    ],
)
def test_a_channel_is_found(names: tuple[str, ...], wanted: str, index: int) -> None:
    assert make_capture(*names).find_channel(wanted) == index


@pytest.mark.parametrize("wanted", ["CH2", "2", "0", "x"])
def test_an_unknown_channel_is_refused_with_those_there_are(wanted: str) -> None:
    with pytest.raises(UnknownChannel, match="there are: CH1, CH3"):
        make_capture("CH1", "CH3").find_channel(wanted)


def test_time_step_and_range_are_said() -> None:
    capture = make_capture("CH1", "CH2")
    assert capture.describe() == "4 samples, 1 µs apart, from 0 s; CH1 0 V to 1 V, CH2 1 V to 2 V"
    document = capture.document()
    assert document["channels"][1] == {"name": "CH2", "low_v": 1.0, "high_v": 2.0}
    assert document["remarks"] == ["No unit is stated for CH1: taken as volts"]
