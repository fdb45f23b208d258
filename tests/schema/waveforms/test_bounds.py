"""The last value that each kind accepts, and the first that it refuses."""

from __future__ import annotations

import pytest
from pinfolio.schema.waveforms import WAVEFORM_KINDS
from pydantic import ValidationError

# Kind, key, values at the bounds that are accepted, values just beyond that are refused.
BOUNDS: list[tuple[str, str, list[str], list[str]]] = [
    ("sawtooth", "retrace", ["0 %", "49.9 %"], ["-0.1 %", "50 %"]),
    ("vertical drive", "retrace", ["0 %", "49.9 %"], ["-0.1 %", "50 %"]),
    ("vertical drive", "s_correction", ["0 %", "33 %"], ["-0.1 %", "33.1 %"]),
    ("east-west parabola", "trapezium", ["-100 %", "100 %"], ["-100.1 %", "100.1 %"]),
    ("audio tone", "distortion", ["0 %", "25 %"], ["-0.1 %", "25.1 %"]),
    ("modulated IF", "residual", ["0 %", "99.9 %"], ["-0.1 %", "100 %"]),
    ("modulated IF", "carrier", ["10 MHz"], ["9.99 MHz"]),
    ("pilot", "depth", ["0 %", "99.9 %"], ["-0.1 %", "100 %"]),
    ("pilot", "identification", ["54.6 kHz"], ["54.6875 kHz"]),
    ("FM carrier", "deviation", ["5.4 MHz"], ["5.5 MHz"]),
    ("FM carrier", "tone", ["5.4 MHz"], ["5.5 MHz"]),
    ("FM luminance", "sync_tip", ["313 kHz", "4.7 MHz"], ["312.5 kHz", "4.8 MHz"]),
    ("colour-under", "frequency", ["400 kHz", "1.5 MHz"], ["399 kHz", "1.51 MHz"]),
    ("colour-under", "phase_step", ["-90°", "0°", "90°"], ["45°", "180°"]),
    ("flyback pulse", "width", ["63.9 µs"], ["64 µs"]),
    ("flyback pulse", "peak", ["-1 V", "1 mV"], ["0 V"]),
    ("line pulse", "width", ["250 ns", "63.74 µs"], ["249 ns", "63.76 µs"]),
    ("line pulse", "delay", ["-63.9 µs", "63.9 µs"], ["-64 µs", "64 µs"]),
    ("control voltage", "level", ["1 V", "6 V"], ["0.99 V", "6.01 V"]),
    ("servo pulse", "width", ["6.6 ms"], ["6.67 ms"]),
    ("servo pulse", "frequency", ["25 Hz", "24.9 kHz"], ["20 Hz", "25.1 kHz", "160 Hz"]),
    ("composite video", "bars", ["75 %", "100 %"], ["74.9 %", "80 %"]),
    ("staircase", "steps", ["5", "10"], ["4", "6"]),
    ("sandcastle", "field_blanking", ["0.1 V", "4.4 V"], ["0 V", "4.5 V"]),
    ("pulse", "width", ["1 ns", "63.9 µs"], ["64 µs"]),
    ("pulse", "rise", ["0 s", "19.2 µs"], ["-1 ns", "19.3 µs"]),
    ("polyline", "repeat", ["64 µs"], ["63.9 µs"]),
]
# The width of a servo pulse is set with its frequency, so that only one of them is at its bound.
BESIDES = {("servo pulse", "frequency"): {"width": "10 µs"}}


@pytest.mark.parametrize(("kind", "key", "accepted", "refused"), BOUNDS)
def test_the_bounds_of_a_value(
    kind: str, key: str, accepted: list[str], refused: list[str]
) -> None:
    model = WAVEFORM_KINDS[kind]
    fields = {"kind": kind, **model.example, **BESIDES.get((kind, key), {})}
    for value in accepted:
        assert model.model_validate({**fields, key: value}).kind == kind
    for value in refused:
        with pytest.raises(ValidationError, match="expected"):
            model.model_validate({**fields, key: value})
