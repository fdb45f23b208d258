"""Edges from 10 to 90 % of their height (IEEE Std 181), and where their half height lies.

Timings of lines and bars: ITU-R BT.470-6 and SMPTE 170M, as the modules cite them; the key of a
sandcastle and the spots of a crosshatch are common practice.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from pinfolio.schema.waveforms import WAVEFORM_KINDS, Waveform

US = 1e-6


def make_waveform(kind: str, **changes: Any) -> Waveform:
    fields = {"kind": kind, **WAVEFORM_KINDS[kind].example, **changes}
    return WAVEFORM_KINDS[kind].model_validate(fields)


def measure_edge(of: Waveform, near_s: float, within_s: float = 0.5 * US) -> tuple[float, float]:
    """Half-height time and rise time of the one edge near a time, up or down."""
    t_s = near_s + np.linspace(-within_s, within_s, 200_001)
    volts = of.volts(t_s)
    share = (volts - volts[0]) / (volts[-1] - volts[0])
    tenth, half, most = (t_s[np.argmax(share >= level)] for level in (0.1, 0.5, 0.9))
    return float(half), float(most - tenth)


@pytest.mark.parametrize(
    ("kind", "changes", "half_us", "rise_us"),
    [
        ("luminance", {"system": "PAL-B/G"}, 10.5, 0.25),  # from blanking to the white bar
        ("RGB bars", {"system": "PAL-B/G", "colour": "green"}, 10.5, 0.15),
        ("sandcastle", {"system": "PAL-B/G"}, -1.5, 0.2),  # front porch of 1.5 µs
        ("sandcastle", {"system": "PAL-B/G"}, 5.2, 0.2),  # 0.4 µs before a burst at 5.6 µs
        ("sandcastle", {"system": "PAL-B/G"}, 9.2, 0.2),  # a key of 4 µs
        ("sandcastle", {"system": "PAL-B/G"}, 10.5, 0.2),
        ("multiburst", {"system": "PAL-B/G"}, 12.0, 0.2),
        ("multiburst", {"system": "PAL-B/G"}, 16.0, 0.2),
        ("multiburst", {"system": "PAL-B/G"}, 20.0, 0.2),
        ("composite sync", {"system": "PAL-B/G"}, 27.3, 0.2),  # a broad pulse
        ("bus activity", {"line": "clock"}, 5.0, 0.5),  # a twentieth of a clock of 10 µs
        ("bus activity", {"line": "clock"}, 10.0, 0.5),
        ("bus activity", {"line": "data"}, 0.0, 0.5),
    ],
)
def test_where_an_edge_lies_and_how_long_it_takes(
    kind: str, changes: dict[str, str], half_us: float, rise_us: float
) -> None:
    half_s, rise_s = measure_edge(make_waveform(kind, **changes), half_us * US)
    assert half_s == pytest.approx(half_us * US, abs=0.002 * US)
    assert rise_s == pytest.approx(rise_us * US, rel=0.01)


@pytest.mark.parametrize("spot", [0, 7, 15])
def test_a_spot_of_the_crosshatch_is_a_quarter_of_a_microsecond_wide(spot: int) -> None:
    """Sixteen squares across 52 µs, each with a line in its middle; about two picture elements."""
    crosshatch = make_waveform("crosshatch", system="PAL-B/G")
    middle_s = (10.5 + (spot + 0.5) * 52 / 16) * US + 3 * 64 * US  # between two level lines
    up_s, rise_s = measure_edge(crosshatch, middle_s - 0.125 * US, 0.11 * US)
    down_s, fall_s = measure_edge(crosshatch, middle_s + 0.125 * US, 0.11 * US)
    assert (down_s - up_s) == pytest.approx(0.25 * US, rel=0.01)
    assert (down_s + up_s) / 2 == pytest.approx(middle_s, abs=0.002 * US)
    assert (rise_s, fall_s) == pytest.approx((0.1 * US, 0.1 * US), rel=0.01)


def test_a_servo_pulse_may_come_a_thousand_times_a_turn_but_for_a_thousandth() -> None:
    """A turn of 25 Hz; 1 kHz to a turn is 25 kHz, 150.02 Hz are 6.0008 pulses."""
    assert make_waveform("servo pulse", frequency="25 kHz", width="10 µs").frequency_hz == 25e3
    assert make_waveform("servo pulse", frequency="150.02 Hz").frequency_hz == pytest.approx(150.02)
    for frequency in ("25.025 kHz", "150.04 Hz"):
        with pytest.raises(ValueError, match="1 to 1000 whole pulses to a turn"):
            make_waveform("servo pulse", frequency=frequency, width="10 µs")
