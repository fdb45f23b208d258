"""A pin through the instruments in hand: what they show, what differs from the pin, and why."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ...schema import Chip, Expectation, Pin, print_value
from ...schema.instruments import Instruments
from ...schema.measuring.bandwidth import one_pole_gain
from ...schema.measuring.loading import loaded_v
from ...schema.measuring.ratings import ExceededRating, find_exceeded_rating
from ...schema.measuring.sampling import (
    aliased_frequency_hz,
    quantisation_step_v,
    sample_rate_hz,
    slowest_timebase_s,
)
from ..drawing.scope_picture import Trace, compute_trace
from ..drawing.scope_settings import ScopeSettings, adapt_to_instrument, choose_scope_settings
from .known_instruments import load_instruments
from .oscillator_loading import describe_oscillator_loading, sum_capacitance_f
from .probe_tip import compute_tip_gain

Numbers = NDArray[np.float64]

_NOTABLE_DC_CHANGE: Final = 0.02  # of a DC voltage; below that any meter's own error hides it
_VISIBLE_LOSS: Final = 0.05  # of a picture's height; nobody sees less on a screen
_VISIBLE_STEP: Final = (
    0.05  # a step of height that is this share of the signal is seen as a staircase
)


@dataclass(frozen=True, eq=False)
class InstrumentView:
    """One expectation of one pin, as the instruments show it."""

    instruments: Instruments
    meter_v: float | None
    """What the meter reads; None where the pin's DC is not known."""
    settings: ScopeSettings | None
    """How to set this oscilloscope; None where there is nothing to see, or a rating forbids it."""
    trace: Trace | None
    """What its screen shows."""
    refused: ExceededRating | None
    """The rating that the signal exceeds."""
    remarks: tuple[str, ...]
    """What differs from the pin, a line each; empty when nothing worth saying does."""

    def document(self) -> dict[str, Any]:
        """As the pin's document holds it."""
        chosen = self.instruments
        return {
            "meter": chosen.meter.name,
            "probe": chosen.probe.name,
            "scope": chosen.scope.name,
            "meter_v": self.meter_v,
            "settings": None if self.settings is None else dict(vars(self.settings)),
            "refused": None if self.refused is None else dict(vars(self.refused)),
            "remarks": list(self.remarks),
        }


def view_through_instruments(
    chip: Chip, pin: Pin, expectation: Expectation, chosen: Instruments
) -> InstrumentView:
    """What the chosen instruments show of an expectation."""
    meter_v, remarks = _read_meter(pin, expectation, chosen)
    refused = _find_exceeded_rating(expectation, chosen)
    ideal = choose_scope_settings(expectation)
    settings = seen = None
    if refused is not None:
        remarks.append(_describe_refusal(refused, expectation, chosen))
    elif ideal is not None:
        scope = chosen.scope
        settings = adapt_to_instrument(ideal, chosen.probe.factor, scope.fastest.nominal)
        screen = _Screen(chip, pin, expectation, chosen, settings)
        seen = compute_trace(expectation, settings, seen=screen.volts)
        remarks += screen.remarks()
        remarks += describe_oscillator_loading(chip, pin, chosen.probe)
    return InstrumentView(chosen, meter_v, settings, seen, refused, tuple(remarks))


def _read_meter(
    pin: Pin, expectation: Expectation, chosen: Instruments
) -> tuple[float | None, list[str]]:
    """The meter's reading, and a remark when its own resistance pulls the pin."""
    dc = expectation.dc
    if dc is None or pin.resistance is None:
        return (None if dc is None else dc.nominal), []
    meter_ohm = chosen.meter.input_ohm(dc.nominal)
    meter_v = loaded_v(dc.nominal, pin.resistance.nominal, meter_ohm)
    if abs(meter_v - dc.nominal) <= _NOTABLE_DC_CHANGE * abs(dc.nominal):
        return meter_v, []
    pulled = (
        f"The {chosen.meter.name} with its {print_value(meter_ohm, 'Ω')} pulls this pin"
        f" ({pin.resistance}) from {print_value(dc.nominal, 'V')} to {print_value(meter_v, 'V')}."
    )
    return meter_v, [pulled]


def _find_exceeded_rating(expectation: Expectation, chosen: Instruments) -> ExceededRating | None:
    peak_v, swing_v, frequency_hz = _compute_stress(expectation)
    return find_exceeded_rating(peak_v, swing_v, frequency_hz, chosen.probe, chosen.scope)


def _compute_stress(expectation: Expectation) -> tuple[float, float, float]:
    """Highest volts to ground, half the peak-to-peak, and the frequency it comes at."""
    waveform = expectation.waveform
    if waveform is None:
        level_v = abs(expectation.dc.nominal) if expectation.dc is not None else 0.0
        return level_v, 0.0, 0.0
    ends_v = [v + expectation.offset_v for v in waveform.extremes_v[:2]]
    return max(map(abs, ends_v)), waveform.vpp_v / 2, waveform.frequency_hz


def _describe_refusal(
    refused: ExceededRating, expectation: Expectation, chosen: Instruments
) -> str:
    """Which rating, and what to use instead."""
    stress = _compute_stress(expectation)
    fitting = [
        probe.name
        for probe in load_instruments().probes.values()
        if find_exceeded_rating(*stress, probe, chosen.scope) is None
    ]
    instead = f"use the {fitting[0]}" if fitting else "no probe known here can take it"
    return (
        f"Do not connect the {chosen.probe.name}: {print_value(refused.peak_v, 'V')} peak at"
        f" {refused.where}, which is rated {print_value(refused.allowed_v, 'V')} here; {instead}."
    )


@dataclass(frozen=True, eq=False)
class _Screen:
    """Probe and oscilloscope between the pin and the picture."""

    chip: Chip
    pin: Pin
    expectation: Expectation
    chosen: Instruments
    settings: ScopeSettings

    def gain(self, frequency_hz: Numbers) -> NDArray[np.complex128]:
        """Loading by the tip, then the poles of probe and oscilloscope."""
        probe, scope = self.chosen.probe, self.chosen.scope
        poles = (1 + 1j * frequency_hz / probe.bandwidth.nominal) * (
            1 + 1j * frequency_hz / scope.bandwidth.nominal
        )
        return np.asarray(self.loading(frequency_hz) / poles)

    def loading(self, frequency_hz: Numbers) -> NDArray[np.complex128]:
        """What the tip leaves of the signal."""
        beside_f = sum_capacitance_f(self.chip, f"pin {self.pin.number}")
        return compute_tip_gain(frequency_hz, self.pin, self.chosen.probe, beside_f)

    @property
    def sampled_hz(self) -> float | None:
        """Sample rate at this timebase, of a digitising oscilloscope."""
        scope = self.chosen.scope
        if scope.sample_rate is None or scope.record_length is None:
            return None
        highest_hz, time_s = scope.sample_rate.nominal, self.settings.time_per_div_s
        return sample_rate_hz(time_s, highest_hz, scope.record_length)

    def volts(self, t_s: Numbers) -> Numbers:
        """Volts on the screen at evenly spaced times, in the same shape."""
        filtered = self._filtered(t_s)
        if self.sampled_hz is None or self.chosen.scope.bits is None:
            return filtered
        height_v = quantisation_step_v(self.settings.volts_per_div, self.chosen.scope.bits)
        if self.sampled_hz * (t_s[1] - t_s[0]) >= 1:  # a long record, finer than these times
            return np.asarray(np.round(filtered / height_v) * height_v)
        instants = np.arange(t_s[0], t_s[-1], 1 / self.sampled_hz)
        taken = np.round(np.interp(instants, t_s, filtered) / height_v) * height_v
        return np.interp(t_s, instants, taken)

    def _filtered(self, t_s: Numbers) -> Numbers:
        """The signal through ``gain``, with a run-up that lets it settle before the screen."""
        step_s = float(t_s[1] - t_s[0])
        run_up = len(t_s) // 4
        longer_s = t_s[0] + step_s * np.arange(-run_up, len(t_s) + run_up)
        spectrum = np.fft.rfft(self.expectation.volts(longer_s))
        spectrum *= self.gain(np.asarray(np.fft.rfftfreq(len(longer_s), step_s), dtype=np.float64))
        filtered = np.fft.irfft(spectrum, len(longer_s))[run_up : run_up + len(t_s)]
        return np.asarray(filtered + self._lost_dc_v)

    @property
    def _lost_dc_v(self) -> float:
        """What the tip takes from the mean, which AC coupling takes away in any case."""
        waveform = self.expectation.waveform
        if waveform is None or self.settings.coupling == "DC":
            return 0.0
        left = float(self.loading(np.zeros(1))[0].real)
        return (1 - left) * (waveform.mean_v + self.expectation.offset_v)

    def remarks(self) -> list[str]:
        """What this set-up changes, each with its reason."""
        waveform = self.expectation.waveform
        if waveform is None or waveform.period_s == 0:
            return []
        found = [self._loaded(waveform.carrier_hz), self._narrow(waveform.fastest_hz)]
        found += [self._folded(waveform.carrier_hz), self._coarse()]
        return [remark for remark in found if remark]

    def _loaded(self, frequency_hz: float) -> str:
        left = float(np.abs(self.loading(np.array([frequency_hz]))[0]))
        if 1 - left <= _VISIBLE_LOSS:
            return ""
        probe = self.chosen.probe
        return (
            f"The {probe.name} adds {probe.capacitance} and {probe.resistance} here and leaves"
            f" {left:.0%} of what there is at {print_value(frequency_hz, 'Hz')}."
        )

    def _narrow(self, fastest_hz: float) -> str:
        left = one_pole_gain(fastest_hz, self.chosen.bandwidth_hz)
        if 1 - left <= _VISIBLE_LOSS:
            return ""
        return (
            f"{self.chosen.probe.name} and {self.chosen.scope.name} together pass"
            f" {print_value(self.chosen.bandwidth_hz, 'Hz')}: {left:.0%} of what there is at"
            f" {print_value(fastest_hz, 'Hz')}."
        )

    def _folded(self, wanted_hz: float) -> str:
        """What undersampling makes of the signal, or of its carrier."""
        sampled_hz, scope = self.sampled_hz, self.chosen.scope
        if sampled_hz is None or scope.sample_rate is None or scope.record_length is None:
            return ""
        if sampled_hz >= 2 * wanted_hz:
            return ""
        safe_s = slowest_timebase_s(wanted_hz, scope.sample_rate.nominal, scope.record_length)
        mend = (
            f"set {print_value(safe_s, 's')} per division or faster"
            if safe_s is not None
            else "it needs a faster oscilloscope"
        )
        rate = print_value(sampled_hz, "Hz").replace("Hz", "samples a second")
        shown = print_value(aliased_frequency_hz(wanted_hz, sampled_hz), "Hz")
        return (
            f"At {print_value(self.settings.time_per_div_s, 's')} per division the"
            f" {scope.name} takes {rate} and shows {print_value(wanted_hz, 'Hz', 5)} as {shown};"
            f" {mend}."
        )

    def _coarse(self) -> str:
        bits, waveform = self.chosen.scope.bits, self.expectation.waveform
        if bits is None or waveform is None:
            return ""
        height_v = quantisation_step_v(self.settings.volts_per_div, bits)
        if height_v <= _VISIBLE_STEP * waveform.vpp_v or not math.isfinite(height_v):
            return ""
        return f"With {bits} bits each step is {print_value(height_v, 'V')} high."
