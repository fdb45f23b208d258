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
from ...schema.measuring.sampling import quantisation_step_v
from ..drawing.scope_settings import choose_scope_settings
from ..instruments.probe_tip import compute_tip_gain
from .conformance import convert_half_width

_PIN_OHM_SHARE: Final = 0.3  # how well an approximate pin resistance is known. Common practice.
_SCREEN_DIV: Final = 0.1  # how finely a person reads a height or a length, in divisions


@dataclass(frozen=True)
class CorrectedValue:
    """A value on the pin with nothing connected, and the standard uncertainty of it."""

    value: float
    uncertainty: float


def correct_dc(dc_v: float, pin: Pin, chosen: Instruments) -> CorrectedValue:
    """The DC voltage without the meter's own load."""
    half_v = chosen.meter.dc_half_width_v(dc_v)
    if pin.resistance is None:
        return CorrectedValue(dc_v, convert_half_width(half_v))
    pin_ohm, meter_ohm = pin.resistance.nominal, chosen.meter.input_ohm(dc_v)
    true_v = unloaded_v(dc_v, pin_ohm, meter_ohm)
    gain = true_v / dc_v if dc_v else 1.0
    loading_v = convert_half_width(_PIN_OHM_SHARE * abs(true_v - dc_v))
    return CorrectedValue(true_v, math.hypot(gain * convert_half_width(half_v), loading_v))


def correct_vpp(
    vpp_v: float,
    pin: Pin,
    expectation: Expectation,
    chosen: Instruments,
    beside_f: float = 0.0,
) -> CorrectedValue:
    """The peak-to-peak voltage without the probe's load and the loss of bandwidth.

    ``beside_f`` are the capacitors from the pin to ground.
    """
    gain = _compute_gain(pin, expectation, chosen, beside_f)
    share = convert_half_width(chosen.scope.gain_percent.nominal / 100)
    settings = choose_scope_settings(expectation)
    height_v = settings.volts_per_div if settings else vpp_v / 5
    fine_v = _SCREEN_DIV * height_v
    if chosen.scope.bits is not None:
        fine_v = max(quantisation_step_v(height_v, chosen.scope.bits), 0.04 * height_v)
    lost_v = convert_half_width(_PIN_OHM_SHARE * abs(vpp_v / gain - vpp_v))
    read_v = math.hypot(share * vpp_v, convert_half_width(fine_v)) / gain
    return CorrectedValue(vpp_v / gain, math.hypot(read_v, lost_v))


def correct_frequency(frequency_hz: float, chosen: Instruments) -> CorrectedValue:
    """A frequency from the screen: nothing pulls it but the timebase's own error."""
    share = convert_half_width(chosen.scope.timebase_percent.nominal / 100)
    if chosen.scope.sort == "analogue":  # a cycle over some eight divisions, read to a tenth
        share = math.hypot(share, convert_half_width(_SCREEN_DIV / 8))
    return CorrectedValue(frequency_hz, share * frequency_hz)


def correct_resistance(resistance_ohm: float, chosen: Instruments) -> CorrectedValue:
    """A resistance to ground with the set off."""
    half_ohm = chosen.meter.ohms_percent.nominal / 100 * resistance_ohm
    return CorrectedValue(resistance_ohm, convert_half_width(half_ohm))


def _compute_gain(
    pin: Pin, expectation: Expectation, chosen: Instruments, beside_f: float
) -> float:
    """What probe and oscilloscope leave of the signal at its own frequency."""
    waveform = expectation.waveform
    if waveform is None or not waveform.period_s:
        return 1.0
    passed = one_pole_gain(waveform.amplitude_hz, chosen.bandwidth_hz)
    at = np.array([waveform.amplitude_hz])
    return passed * float(abs(compute_tip_gain(at, pin, chosen.probe, beside_f)[0]))
