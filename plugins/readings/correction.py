"""Correct a reading for the load and bandwidth of the instruments, with standard uncertainty.

Source: JCGM 100:2008 (GUM), 5.1.2: independent contributions add as squares.
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

from ...schema.chip import Chip
from ...schema.chips.data import Pin
from ...schema.chips.expectation import Expectation
from ...schema.instruments import Instruments
from ...schema.measuring.bandwidth import compute_one_pole_gain
from ...schema.measuring.loading import compute_unloaded_v
from ...schema.measuring.sampling import compute_quantisation_step_v
from ..drawing.scope_settings import choose_scope_settings
from ..instruments.oscillator_loading import compute_pull_hz
from ..instruments.probe_tip import compute_tip_gain
from .conformance import convert_half_width

_PIN_OHM_SHARE: Final = 0.3  # tolerance of an approximate pin resistance. Common practice.
_PULL_SHARE: Final = 0.3  # of a pull computed for an ordinary resonator. Common practice.
_HELD_SHARE: Final = 0.01  # how far from its frequency a resonator may still set it
_SCREEN_DIV: Final = 0.1  # divisions to which a person reads a height or a length
_DIGITAL_DIV: Final = 0.04  # the same with the cursors of a digitising oscilloscope
_CYCLE_DIV: Final = 8  # divisions over which a cycle is spread to read its length
_USUAL_HEIGHT_DIV: Final = 5  # of a signal for which no settings can be computed


class CorrectedValue(NamedTuple):
    """A value at the pin with no instrument connected, and its standard uncertainty."""

    value: float
    uncertainty: float


def add_rounding(corrected: CorrectedValue, half_digit: float) -> CorrectedValue:
    """Return a corrected figure that is no better known than the digits it was typed with.

    ``half_digit``: half of the last digit, in the figure's unit (GUM, F.2.2.1).
    """
    spread = math.hypot(corrected.uncertainty, convert_half_width(half_digit))
    return CorrectedValue(corrected.value, spread)


def correct_dc(dc_v: float, pin: Pin, chosen: Instruments) -> CorrectedValue:
    """Return the DC voltage without the meter's load."""
    reading_v = convert_half_width(chosen.meter.compute_dc_half_width_v(dc_v))
    if pin.resistance is None:
        return CorrectedValue(dc_v, reading_v)
    pin_ohm, meter_ohm = pin.resistance.nominal, chosen.meter.find_input_ohm(dc_v)
    unloaded_v = compute_unloaded_v(dc_v, pin_ohm, meter_ohm)
    loading_gain = unloaded_v / dc_v if dc_v else 1.0
    loading_v = convert_half_width(_PIN_OHM_SHARE * abs(unloaded_v - dc_v))
    return CorrectedValue(unloaded_v, math.hypot(loading_gain * reading_v, loading_v))


def correct_captured_dc(
    dc_v: float, pin: Pin, expectation: Expectation, chosen: Instruments
) -> CorrectedValue:
    """Return the mean of a capture without the load of the probe, by the oscilloscope's accuracy.

    Its zero line is known to a tenth of a division.
    """
    settings = choose_scope_settings(expectation)
    volts_per_div = settings.volts_per_div if settings else abs(dc_v) / _USUAL_HEIGHT_DIV
    gain_half_width_v = chosen.scope.gain_percent.nominal / 100 * abs(dc_v)
    reading_v = convert_half_width(gain_half_width_v + _SCREEN_DIV * volts_per_div)
    if pin.resistance is None:
        return CorrectedValue(dc_v, reading_v)
    # Probe and pin are a divider: the pin is at more than the reading shows.
    unloaded_v = compute_unloaded_v(dc_v, pin.resistance.nominal, chosen.probe.resistance.nominal)
    loading_gain = unloaded_v / dc_v if dc_v else 1.0
    loading_v = convert_half_width(_PIN_OHM_SHARE * abs(unloaded_v - dc_v))
    return CorrectedValue(unloaded_v, math.hypot(loading_gain * reading_v, loading_v))


def correct_vpp(
    vpp_v: float,
    pin: Pin,
    expectation: Expectation,
    chosen: Instruments,
    beside_f: float = 0.0,
) -> CorrectedValue:
    """Return the peak-to-peak voltage without the probe's load and the loss of bandwidth.

    ``beside_f`` is the capacitance in farad of the parts from the pin to ground.
    """
    settings = choose_scope_settings(expectation)
    volts_per_div = settings.volts_per_div if settings else vpp_v / _USUAL_HEIGHT_DIV
    resolution_v = _SCREEN_DIV * volts_per_div
    # Cursors of a digitising oscilloscope are finer than the eye, but no finer than its converter.
    if chosen.scope.bits is not None:
        step_v = compute_quantisation_step_v(volts_per_div, chosen.scope.bits)
        resolution_v = max(step_v, _DIGITAL_DIV * volts_per_div)
    scope_gain_error = convert_half_width(chosen.scope.gain_percent.nominal / 100)
    reading_v = math.hypot(scope_gain_error * vpp_v, convert_half_width(resolution_v))

    passed_share = _compute_gain(pin, expectation, chosen, beside_f)
    unloaded_vpp = vpp_v / passed_share
    loss_v = convert_half_width(_PIN_OHM_SHARE * abs(unloaded_vpp - vpp_v))
    return CorrectedValue(unloaded_vpp, math.hypot(reading_v / passed_share, loss_v))


def correct_frequency(
    frequency_hz: float, chosen: Instruments, pull_hz: float = 0.0, error_hz: float = 0.0
) -> CorrectedValue:
    """Return a frequency, counted or read from a screen, without the probe's pull.

    ``pull_hz`` is how far the probe moves it, negative for a lower frequency; ``error_hz`` is the
    standard uncertainty with which it was found in a capture.
    """
    timer = chosen.counter or chosen.scope
    timebase_error = convert_half_width(timer.timebase_percent.nominal / 100)
    # Without a counter, the length of a cycle is read from the screen.
    if chosen.counter is None and chosen.scope.sort == "analogue":
        screen_error = convert_half_width(_SCREEN_DIV / _CYCLE_DIV)
        timebase_error = math.hypot(timebase_error, screen_error)
    pull_error_hz = convert_half_width(_PULL_SHARE * abs(pull_hz))
    uncertainty_hz = math.hypot(timebase_error * frequency_hz, pull_error_hz, error_hz)
    return CorrectedValue(frequency_hz - pull_hz, uncertainty_hz)


def correct_frequency_at(
    chip: Chip,
    place: Pin,
    frequency_hz: float,
    expected_hz: float | None,
    chosen: Instruments,
    error_hz: float = 0.0,
) -> CorrectedValue:
    """Return a frequency read at a place, without the pull of the probe on its resonator.

    ``expected_hz`` is None where the chip file states none; ``error_hz`` is the standard
    uncertainty with which the frequency was found in a capture.
    """
    # The resonator sees the probe's capacitance while its frequency is read; an oscillator that
    # runs elsewhere is not held by its resonator.
    is_held = expected_hz is not None and abs(frequency_hz / expected_hz - 1) < _HELD_SHARE
    pull_hz = compute_pull_hz(chip, place, chosen.probe) if is_held else 0.0
    # A loop holds its oscillator on frequency against the probe; only one out of lock is pulled.
    if expected_hz is not None and abs(frequency_hz - expected_hz) < abs(pull_hz) / 2:
        pull_hz = 0.0 if _is_in_a_loop(chip, place) else pull_hz
    return correct_frequency(frequency_hz, chosen, pull_hz, error_hz)


def _is_in_a_loop(chip: Chip, place: Pin) -> bool:
    """Return whether a loop steers the oscillator at a pin: it has a lock range."""
    name = f"pin {place.number}"
    return any(
        block.lock_range is not None and name in (*block.needs, *block.inputs)
        for block in chip.blocks
    )


def correct_resistance(resistance_ohm: float, chosen: Instruments) -> CorrectedValue:
    """Return a resistance to ground, measured with the set switched off."""
    half_ohm = chosen.meter.ohms_percent.nominal / 100 * resistance_ohm
    return CorrectedValue(resistance_ohm, convert_half_width(half_ohm))


def compute_response(
    frequency_hz: float, pin: Pin, chosen: Instruments, beside_f: float = 0.0
) -> CorrectedValue:
    """Return the share of a signal that probe and oscilloscope pass at a frequency.

    Its uncertainty is that of the source and of the bandwidth it is computed from.
    """
    bandwidth_gain = compute_one_pole_gain(frequency_hz, chosen.bandwidth_hz)
    gain = bandwidth_gain * abs(compute_tip_gain(frequency_hz, pin, chosen.probe, beside_f))
    return CorrectedValue(gain, convert_half_width(_PIN_OHM_SHARE * (1 - gain)))


def _compute_gain(
    pin: Pin, expectation: Expectation, chosen: Instruments, beside_f: float
) -> float:
    """Return the share of the signal that probe and oscilloscope pass at its own frequency."""
    waveform = expectation.waveform
    if waveform is None or not waveform.period_s:
        return 1.0
    return compute_response(waveform.amplitude_hz, pin, chosen, beside_f).value
