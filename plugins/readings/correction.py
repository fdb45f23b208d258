"""A reading put right for what the instruments did to it, with its standard uncertainty.

Source: JCGM 100:2008 (GUM), 5.1.2, independent contributions add as squares.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from ...schema import Expectation, Pin
from ...schema.instruments import Instruments
from ...schema.measuring.bandwidth import one_pole_gain
from ...schema.measuring.loading import unloaded_v
from ...schema.measuring.sampling import step_v
from ..drawing.scope_settings import scope_settings
from ..instruments.probe_tip import left_by_tip
from .conformance import from_half_width

_PIN_OHM_SHARE: Final = 0.3  # how well an approximate pin resistance is known. Common practice.
_SCREEN_DIV: Final = 0.1  # how finely a person reads a height or a length, in divisions


@dataclass(frozen=True)
class Corrected:
    """A value on the pin with nothing connected, and the standard uncertainty of it."""

    value: float
    uncertainty: float


def corrected_dc(dc_v: float, pin: Pin, chosen: Instruments) -> Corrected:
    """The DC voltage without the meter's own load."""
    half_v = chosen.meter.dc_half_width_v(dc_v)
    if pin.resistance is None:
        return Corrected(dc_v, from_half_width(half_v))
    pin_ohm, meter_ohm = pin.resistance.nominal, chosen.meter.input_ohm(dc_v)
    true_v = unloaded_v(dc_v, pin_ohm, meter_ohm)
    gain = true_v / dc_v if dc_v else 1.0
    loading_v = from_half_width(_PIN_OHM_SHARE * abs(true_v - dc_v))
    return Corrected(true_v, math.hypot(gain * from_half_width(half_v), loading_v))


def corrected_vpp(
    vpp_v: float,
    pin: Pin,
    expectation: Expectation,
    chosen: Instruments,
    beside_f: float = 0.0,
) -> Corrected:
    """The peak-to-peak voltage without the probe's load and the loss of bandwidth.

    ``beside_f`` are the capacitors from the pin to ground.
    """
    gain = _gain(pin, expectation, chosen, beside_f)
    share = from_half_width(chosen.scope.gain_percent.nominal / 100)
    settings = scope_settings(expectation)
    height_v = settings.volts_per_div if settings else vpp_v / 5
    fine_v = _SCREEN_DIV * height_v
    if chosen.scope.bits is not None:
        fine_v = max(step_v(height_v, chosen.scope.bits), 0.04 * height_v)
    lost_v = from_half_width(_PIN_OHM_SHARE * abs(vpp_v / gain - vpp_v))
    read_v = math.hypot(share * vpp_v, from_half_width(fine_v)) / gain
    return Corrected(vpp_v / gain, math.hypot(read_v, lost_v))


def corrected_frequency(frequency_hz: float, chosen: Instruments) -> Corrected:
    """A frequency from the screen: nothing pulls it but the timebase's own error."""
    share = from_half_width(chosen.scope.timebase_percent.nominal / 100)
    if chosen.scope.sort == "analogue":  # a cycle over some eight divisions, read to a tenth
        share = math.hypot(share, from_half_width(_SCREEN_DIV / 8))
    return Corrected(frequency_hz, share * frequency_hz)


def corrected_resistance(resistance_ohm: float, chosen: Instruments) -> Corrected:
    """A resistance to ground with the set off."""
    half_ohm = chosen.meter.ohms_percent.nominal / 100 * resistance_ohm
    return Corrected(resistance_ohm, from_half_width(half_ohm))


def _gain(pin: Pin, expectation: Expectation, chosen: Instruments, beside_f: float) -> float:
    """What probe and oscilloscope leave of the signal at its own frequency."""
    waveform = expectation.waveform
    if waveform is None or not waveform.period_s:
        return 1.0
    passed = one_pole_gain(waveform.amplitude_hz, chosen.bandwidth_hz)
    at = np.array([waveform.amplitude_hz])
    return passed * float(abs(left_by_tip(at, pin, chosen.probe, beside_f)[0]))
