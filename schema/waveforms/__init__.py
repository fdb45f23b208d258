"""Typed waveforms: each kind is stored as written and computes its own volts."""

from __future__ import annotations

from typing import Final, get_args

from .audio import AudioTone, Noise
from .base import Samples, Waveform
from .bus import BusActivity
from .colour_difference import ColourDifference, RgbBars
from .composite_video import Chrominance, CompositeVideo, Luminance
from .control import ControlVoltage
from .deflection import EastWestParabola, FlybackPulse, VerticalDrive
from .modulated import FmCarrier, ModulatedIf, Pilot
from .polyline import Polyline
from .pulses import FieldPulse, LinePulse
from .recorder import ColourUnder, FmLuminance
from .sandcastle import Sandcastle
from .secam import SecamVideo
from .servo import ServoPulse
from .simple import Parabola, Pulse, Sawtooth, Sine, Steady
from .sync import CompositeSync
from .test_signals import Crosshatch, Multiburst, RedField, Staircase

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
    | ModulatedIf
    | FmCarrier
    | Pilot
    | AudioTone
    | Noise
    | FlybackPulse
    | EastWestParabola
    | VerticalDrive
    | ControlVoltage
    | FmLuminance
    | ColourUnder
    | ServoPulse
    | SecamVideo
    | Multiburst
    | Staircase
    | Crosshatch
    | RedField
    | Polyline
)

WAVEFORM_KINDS: Final[dict[str, type[Waveform]]] = {
    get_args(model.model_fields["kind"].annotation)[0]: model for model in get_args(AnyWaveform)
}
"""Each kind by the word that names it in a chip file."""

__all__ = [
    "WAVEFORM_KINDS",
    "AnyWaveform",
    "AudioTone",
    "BusActivity",
    "Chrominance",
    "ColourDifference",
    "ColourUnder",
    "CompositeSync",
    "CompositeVideo",
    "ControlVoltage",
    "Crosshatch",
    "EastWestParabola",
    "FieldPulse",
    "FlybackPulse",
    "FmCarrier",
    "FmLuminance",
    "LinePulse",
    "Luminance",
    "ModulatedIf",
    "Multiburst",
    "Noise",
    "Parabola",
    "Pilot",
    "Polyline",
    "Pulse",
    "RedField",
    "RgbBars",
    "Samples",
    "Sandcastle",
    "Sawtooth",
    "SecamVideo",
    "ServoPulse",
    "Sine",
    "Staircase",
    "Steady",
    "VerticalDrive",
    "Waveform",
]
