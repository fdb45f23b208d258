"""Typed waveforms: each kind is stored as written and computes its own volts."""

from __future__ import annotations

from typing import Final, get_args

from .base import Samples, Waveform
from .bus import BusActivity
from .colour_difference import ColourDifference, RgbBars
from .composite_video import Chrominance, CompositeVideo, Luminance
from .polyline import Polyline
from .pulses import FieldPulse, LinePulse
from .sandcastle import Sandcastle
from .simple import Parabola, Pulse, Sawtooth, Sine, Steady
from .sync import CompositeSync

AnyWaveform = (
    Steady
    | Sine
    | Pulse
    | Sawtooth
    | Parabola
    | CompositeVideo
    | Luminance
    | Chrominance
    | ColourDifference
    | RgbBars
    | Sandcastle
    | CompositeSync
    | LinePulse
    | FieldPulse
    | BusActivity
    | Polyline
)

WAVEFORM_KINDS: Final[dict[str, type[Waveform]]] = {
    get_args(model.model_fields["kind"].annotation)[0]: model for model in get_args(AnyWaveform)
}
"""Each kind by the word that names it in a chip file."""

__all__ = [
    "WAVEFORM_KINDS",
    "AnyWaveform",
    "BusActivity",
    "Chrominance",
    "ColourDifference",
    "CompositeSync",
    "CompositeVideo",
    "FieldPulse",
    "LinePulse",
    "Luminance",
    "Parabola",
    "Polyline",
    "Pulse",
    "RgbBars",
    "Samples",
    "Sandcastle",
    "Sawtooth",
    "Sine",
    "Steady",
    "Waveform",
]
