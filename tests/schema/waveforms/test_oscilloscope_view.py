"""How each kind asks to be looked at: frequencies that matter, time span, trigger.

Line and field rates and subcarriers are those of ITU-R BT.470-6; an edge needs a bandwidth of 0.35
over its rise time. The rest is the definition of each property, computed by hand for the example.
"""

from __future__ import annotations

import pytest
from pinfolio.schema.waveforms import WAVEFORM_KINDS, Waveform

LINE_HZ, FIELD_HZ, PAL_HZ = 15_625.0, 50.0, 4_433_618.75
SYNC_EDGE_HZ = 0.35 / 0.2e-6
TWO_LINES_S, TWO_FIELDS_S = 128e-6, 40e-3

RISING = "the signal itself, rising edge"
FALLING_ONCE = "the signal itself, falling edge, normal (not automatic) sweep"
TV_LINE, TV_FIELD = "line sync (TV line)", "field sync (TV field)"
EXTERNAL = "line sync from another point (external, TV line)"
FREE = "none needed: free-running sweep"

# Kind: frequency, highest frequency, frequency that sampling may fold, time span, trigger.
VIEWS: dict[str, tuple[float, float, float, float, str]] = {
    "steady": (0, 0, 0, 0, FREE),
    "sine": (PAL_HZ, PAL_HZ, PAL_HZ, 2 / PAL_HZ, RISING),
    # Edges without a stated time count as a tenth of the shorter part, 12 µs of 64 µs.
    "pulse": (LINE_HZ, 0.35 / 1.2e-6, LINE_HZ, TWO_LINES_S, RISING),
    "sawtooth": (FIELD_HZ, 500, FIELD_HZ, TWO_FIELDS_S, RISING),
    "parabola": (FIELD_HZ, 500, FIELD_HZ, TWO_FIELDS_S, RISING),
    "polyline": (LINE_HZ, 10 * LINE_HZ, LINE_HZ, TWO_LINES_S, RISING),
    "audio tone": (1e3, 2e3, 1e3, 2e-3, RISING),
    "noise": (15e3, 15e3, 15e3, 512 / 15e3 / 4, FREE),  # a quarter of its pattern of 512 lines
    "bus activity": (100e3, 1e6, 100e3, 400e-6, FALLING_ONCE),  # one message of forty clocks
    "control voltage": (50, 500, 50, 40e-3, "the signal itself, AC coupled, rising edge"),
    "servo pulse": (150, 0.35 / 60e-6, 150, 80e-3, RISING),  # two turns of the drum
    "composite sync": (LINE_HZ, SYNC_EDGE_HZ, LINE_HZ, TWO_FIELDS_S, TV_FIELD),
    "line pulse": (LINE_HZ, SYNC_EDGE_HZ, LINE_HZ, TWO_LINES_S, RISING),
    "field pulse": (FIELD_HZ, SYNC_EDGE_HZ, FIELD_HZ, TWO_FIELDS_S, RISING),
    "sandcastle": (
        LINE_HZ, SYNC_EDGE_HZ, LINE_HZ, TWO_LINES_S, f"{RISING}, level above line blanking",
    ),
    "flyback pulse": (LINE_HZ, 5 / 12e-6, LINE_HZ, TWO_LINES_S, RISING),
    "east-west parabola": (FIELD_HZ, 500, FIELD_HZ, TWO_FIELDS_S, TV_FIELD),
    # Ten harmonics of the retrace, a twentieth of the field.
    "vertical drive": (FIELD_HZ, 10e3, FIELD_HZ, TWO_FIELDS_S, TV_FIELD),
    "luminance": (4.5e6 / 286, 0.35 / 0.14e-6, 4.5e6 / 286, 2 * 286 / 4.5e6, TV_LINE),
    "composite video": (LINE_HZ, PAL_HZ, PAL_HZ, TWO_LINES_S, TV_LINE),
    "chrominance": (LINE_HZ, PAL_HZ, PAL_HZ, TWO_LINES_S, EXTERNAL),
    "colour difference": (LINE_HZ, 1e6, LINE_HZ, TWO_LINES_S, EXTERNAL),
    "RGB bars": (LINE_HZ, 0.35 / 0.15e-6, LINE_HZ, TWO_LINES_S, EXTERNAL),
    "multiburst": (LINE_HZ, 5.8e6, PAL_HZ, TWO_LINES_S, TV_LINE),
    "staircase": (LINE_HZ, PAL_HZ, PAL_HZ, TWO_LINES_S, TV_LINE),
    "crosshatch": (LINE_HZ, PAL_HZ, PAL_HZ, TWO_LINES_S, TV_LINE),
    "red field": (LINE_HZ, PAL_HZ, PAL_HZ, TWO_LINES_S, TV_LINE),
    # Highest on D'R lines: 4.40625 MHz + 0.75 x 1.902 x 280 kHz x 0.701 for cyan.
    "SECAM video": (LINE_HZ, 4.686243e6, 4.40625e6, TWO_LINES_S, TV_LINE),
    "modulated IF": (38.9e6, 38.9e6, 38.9e6, TWO_LINES_S, EXTERNAL),
    "FM carrier": (5.5e6, 5.5e6, 5.5e6, 6 / 5.5e6, RISING),
    "pilot": (54_687.5, 54_687.5, 54_687.5, 2 / 117.5, RISING),
    # The mean of 3.8 MHz at sync to 4.8 MHz at white over a line of 75 % bars.
    "FM luminance": (4.309023e6, 4.8e6, 4.309023e6, TWO_LINES_S, EXTERNAL),
    "colour-under": (626_953, 626_953, 626_953, TWO_LINES_S, EXTERNAL),
}  # fmt: skip

# These swing at another frequency than they are named by: all of chrominance is subcarrier.
AMPLITUDES_HZ = {"chrominance": PAL_HZ}


def make_example(kind: str, **changes: str) -> Waveform:
    fields = {"kind": kind, **WAVEFORM_KINDS[kind].example, **changes}
    return WAVEFORM_KINDS[kind].model_validate(fields)


@pytest.mark.parametrize("kind", VIEWS)
def test_frequencies_time_span_and_trigger(kind: str) -> None:
    waveform = make_example(kind)
    frequency_hz, fastest_hz, carrier_hz, view_s, trigger = VIEWS[kind]
    assert waveform.frequency_hz == pytest.approx(frequency_hz, rel=1e-6)
    assert waveform.fastest_hz == pytest.approx(fastest_hz, rel=1e-6)
    assert waveform.carrier_hz == pytest.approx(carrier_hz, rel=1e-6)
    assert waveform.amplitude_hz == pytest.approx(AMPLITUDES_HZ.get(kind, frequency_hz), rel=1e-6)
    assert waveform.view_s == pytest.approx(view_s, rel=1e-6)
    assert waveform.trigger == trigger


@pytest.mark.parametrize(
    ("kind", "changes", "trigger"),
    [
        ("line pulse", {"polarity": "negative"}, "the signal itself, falling edge"),
        ("flyback pulse", {"peak": "-60 V"}, "the signal itself, falling edge"),
    ],
)
def test_a_pulse_downwards_is_triggered_by_its_falling_edge(
    kind: str, changes: dict[str, str], trigger: str
) -> None:
    assert make_example(kind, **changes).trigger == trigger


@pytest.mark.parametrize(
    ("kind", "changes", "fastest_hz"),
    [
        ("pulse", {"rise": "1 µs", "fall": "0.5 µs"}, 0.35 / 0.5e-6),
        ("pulse", {"rise": "0.2 µs"}, 0.35 / 0.2e-6),
        ("pulse", {"width": "60 µs"}, 0.35 / 0.4e-6),  # the gap of 4 µs is shorter
        ("polyline", {"points": [["0 µs", "0 V"], ["1 µs", "5 V"]]}, 0.35 * 1.25 / 1e-6),
        ("multiburst", {"system": "NTSC-M"}, 4.2e6),
        ("flyback pulse", {"width": "10 µs"}, 500e3),
    ],
)  # fmt: skip
def test_the_quickest_edge_sets_the_highest_frequency(
    kind: str, changes: dict[str, str], fastest_hz: float
) -> None:
    assert make_example(kind, **changes).fastest_hz == pytest.approx(fastest_hz, rel=1e-6)


def test_a_vertical_drive_that_returns_at_once_counts_a_hundred_harmonics() -> None:
    fields = {"kind": "vertical drive", "system": "PAL-B/G", "vpp": "1 Vpp"}
    drive = WAVEFORM_KINDS["vertical drive"].model_validate(fields)
    assert drive.fastest_hz == pytest.approx(5_000)
