"""A pin seen through given instruments: their picture, its differences from the pin, and why."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, overload

from ...schema.chip import Chip
from ...schema.chips.data import Pin
from ...schema.chips.expectation import Expectation
from ...schema.instruments import Instruments
from ...schema.measuring.bandwidth import compute_one_pole_gain
from ...schema.measuring.loading import Complex, Numbers, compute_loaded_v
from ...schema.measuring.ratings import ExceededRating, find_exceeded_rating
from ...schema.measuring.sampling import (
    compute_aliased_frequency_hz,
    compute_quantisation_step_v,
    find_slowest_timebase_s,
    sample_rate_hz,
)
from ...schema.quantities import print_value
from ..drawing.scope_settings import ScopeSettings, adapt_to_instrument, choose_scope_settings
from .known_instruments import load_instruments
from .oscillator_loading import describe_oscillator_loading, sum_capacitance_f
from .probe_tip import compute_tip_gain

if TYPE_CHECKING:
    from ..drawing.scope_trace import Trace

_NOTABLE_DC_CHANGE: Final = 0.02  # of a DC voltage; less is within the error of any meter
_VISIBLE_LOSS: Final = 0.05  # of the picture's height; a smaller loss is not seen on a screen
_NYQUIST_RATIO: Final = 2  # samples a cycle below which a signal is folded (sampling theorem)
_VISIBLE_STEP: Final = (
    0.05  # a step of height that is this share of the signal is seen as a staircase
)


@dataclass(frozen=True, eq=False)
class InstrumentView:
    """One expectation of one pin as the instruments show it."""

    instruments: Instruments
    meter_v: float | None
    """Reading of the meter in volts; None where the pin's DC voltage is not known."""
    settings: ScopeSettings | None
    """Settings of this oscilloscope; None without a signal, or where a rating forbids it."""
    trace: Trace | None
    """The trace on its screen."""
    refused: ExceededRating | None
    """The rating that the signal exceeds, if any."""
    remarks: tuple[str, ...]
    """Differences from the signal on the pin, one sentence each; empty when none is notable."""

    @property
    def meter_words(self) -> str:
        """Reading of the meter with its unit; empty where none is known."""
        return "" if self.meter_v is None else print_value(self.meter_v, "V")

    def document(self) -> dict[str, Any]:
        """Return the view as it appears in the pin's document."""
        instruments = self.instruments
        return {
            "meter": instruments.meter.name,
            "probe": instruments.probe.name,
            "scope": instruments.scope.name,
            "meter_v": self.meter_v,
            "settings": None if self.settings is None else self.settings._asdict(),
            "refused": None if self.refused is None else self.refused._asdict(),
            "remarks": list(self.remarks),
        }


def view_through_instruments(
    chip: Chip, pin: Pin, expectation: Expectation, chosen: Instruments
) -> InstrumentView:
    """Return the view of an expectation through a meter, a probe and an oscilloscope."""
    from ..drawing.scope_trace import compute_trace

    meter_v, remarks = _read_meter(pin, expectation, chosen)
    exceeded_rating = _find_exceeded_rating(expectation, chosen)
    ideal_settings = choose_scope_settings(expectation)
    settings = screen_trace = None
    # A signal above a rating gets a warning in place of settings.
    if exceeded_rating is not None:
        remarks.append(_describe_refusal(exceeded_rating, expectation, chosen))
    elif ideal_settings is not None:
        fastest_s = chosen.scope.fastest.nominal
        settings = adapt_to_instrument(ideal_settings, chosen.probe.factor, fastest_s)
        screen = _Screen(chip, pin, expectation, chosen, settings)
        screen_trace = compute_trace(expectation, settings, seen=screen.compute_volts)
        remarks += screen.list_remarks()
        remarks += describe_oscillator_loading(chip, pin, chosen.probe)
    return InstrumentView(
        instruments=chosen,
        meter_v=meter_v,
        settings=settings,
        trace=screen_trace,
        refused=exceeded_rating,
        remarks=tuple(remarks),
    )


def _read_meter(
    pin: Pin, expectation: Expectation, chosen: Instruments
) -> tuple[float | None, list[str]]:
    """Return the meter's reading in volts, and a sentence when its load changes the voltage."""
    dc = expectation.dc
    if dc is None or pin.resistance is None:
        return (None if dc is None else dc.nominal), []
    meter_ohm = chosen.meter.find_input_ohm(dc.nominal)
    meter_v = compute_loaded_v(dc.nominal, pin.resistance.nominal, meter_ohm)
    if abs(meter_v - dc.nominal) <= _NOTABLE_DC_CHANGE * abs(dc.nominal):
        return meter_v, []
    remark = (
        f"The {chosen.meter.name} with its {print_value(meter_ohm, 'Ω')} pulls this pin"
        f" ({pin.resistance}) from {print_value(dc.nominal, 'V')} to {print_value(meter_v, 'V')}."
    )
    return meter_v, [remark]


def _find_exceeded_rating(expectation: Expectation, chosen: Instruments) -> ExceededRating | None:
    """Return the rating of probe or oscilloscope that the signal exceeds, or None."""
    peak_v, swing_v, frequency_hz = _compute_stress(expectation)
    return find_exceeded_rating(peak_v, swing_v, frequency_hz, chosen.probe, chosen.scope)


def _compute_stress(expectation: Expectation) -> tuple[float, float, float]:
    """Return the highest volts to ground, half the peak-to-peak volts, and the frequency in Hz."""
    waveform = expectation.waveform
    if waveform is None:
        level_v = abs(expectation.dc.nominal) if expectation.dc is not None else 0.0
        return level_v, 0.0, 0.0
    ends_v = [v + expectation.offset_v for v in waveform.extremes_v[:2]]
    return max(map(abs, ends_v)), waveform.vpp_v / 2, waveform.frequency_hz


def _describe_refusal(
    refused: ExceededRating, expectation: Expectation, chosen: Instruments
) -> str:
    """Return the sentence that names the exceeded rating and a probe that can be used."""
    stress = _compute_stress(expectation)
    suitable_probe = next(
        (
            probe.name
            for probe in load_instruments().probes.values()
            if find_exceeded_rating(*stress, probe, chosen.scope) is None
        ),
        None,
    )
    remedy = f"use the {suitable_probe}" if suitable_probe else "no probe known here can take it"
    return (
        f"Do not connect the {chosen.probe.name}: {print_value(refused.peak_v, 'V')} peak at"
        f" {refused.where}, which is rated {print_value(refused.allowed_v, 'V')} here; {remedy}."
    )


@dataclass(frozen=True, eq=False)
class _Screen:
    """Probe and oscilloscope between the pin and the picture."""

    chip: Chip
    pin: Pin
    expectation: Expectation
    chosen: Instruments
    settings: ScopeSettings

    def compute_gain(self, frequency_hz: Numbers) -> Complex:
        """Return the complex gain from pin to screen: tip loading, then one pole each for both."""
        probe, scope = self.chosen.probe, self.chosen.scope
        poles = (1 + 1j * frequency_hz / probe.bandwidth.nominal) * (
            1 + 1j * frequency_hz / scope.bandwidth.nominal
        )
        return self.compute_loading(frequency_hz) / poles

    @overload
    def compute_loading(self, frequency_hz: float) -> complex: ...
    @overload
    def compute_loading(self, frequency_hz: Numbers) -> Complex: ...
    def compute_loading(self, frequency_hz: float | Numbers) -> complex | Complex:
        """Return the complex share of the signal that remains with the tip connected."""
        beside_f = sum_capacitance_f(self.chip, f"pin {self.pin.number}")
        return compute_tip_gain(frequency_hz, self.pin, self.chosen.probe, beside_f)

    @property
    def sampled_hz(self) -> float | None:
        """Sample rate in hertz at this timebase; None for an analogue oscilloscope."""
        scope = self.chosen.scope
        if scope.sample_rate is None or scope.record_length is None:
            return None
        highest_hz, time_s = scope.sample_rate.nominal, self.settings.time_per_div_s
        return sample_rate_hz(time_s, highest_hz, scope.record_length)

    def compute_volts(self, t_s: Numbers) -> Numbers:
        """Return volts on the screen at evenly spaced times, in the same shape."""
        import numpy as np

        filtered = self._filter(t_s)
        if self.sampled_hz is None or self.chosen.scope.bits is None:
            return filtered
        height_v = compute_quantisation_step_v(self.settings.volts_per_div, self.chosen.scope.bits)
        # Samples closer together than these times show every one of them, in steps of height.
        if self.sampled_hz * (t_s[1] - t_s[0]) >= 1:
            return np.asarray(np.round(filtered / height_v) * height_v)
        sample_times_s = np.arange(t_s[0], t_s[-1], 1 / self.sampled_hz)
        samples_v = np.round(np.interp(sample_times_s, t_s, filtered) / height_v) * height_v
        return np.interp(t_s, sample_times_s, samples_v)

    def _filter(self, t_s: Numbers) -> Numbers:
        """Return the signal through ``compute_gain``, settled by a run-up before the screen."""
        import numpy as np

        step_s = float(t_s[1] - t_s[0])
        run_up = len(t_s) // 4
        longer_s = t_s[0] + step_s * np.arange(-run_up, len(t_s) + run_up)
        spectrum = np.fft.rfft(self.expectation.volts(longer_s))
        spectrum *= self.compute_gain(
            np.asarray(np.fft.rfftfreq(len(longer_s), step_s), dtype=np.float64)
        )
        filtered = np.fft.irfft(spectrum, len(longer_s))[run_up : run_up + len(t_s)]
        return np.asarray(filtered + self._lost_dc_v)

    @property
    def _lost_dc_v(self) -> float:
        """Volts that the tip takes from the mean; 0 with AC coupling, which removes the mean."""
        waveform = self.expectation.waveform
        if waveform is None or self.settings.coupling == "DC":
            return 0.0
        left = self.compute_loading(0.0)
        return (1 - left.real) * (waveform.mean_v + self.expectation.offset_v)

    def list_remarks(self) -> list[str]:
        """Return one sentence for each notable effect of this set-up, with its reason."""
        waveform = self.expectation.waveform
        if waveform is None or waveform.period_s == 0:
            return []
        remarks = [
            self._describe_loading(waveform.carrier_hz),
            self._describe_bandwidth(waveform.fastest_hz),
            self._describe_aliasing(waveform.carrier_hz),
            self._describe_resolution(),
        ]
        return [remark for remark in remarks if remark]

    def _describe_loading(self, frequency_hz: float) -> str:
        """Return the sentence about the tip's load, empty where its effect is not visible."""
        share_left = abs(self.compute_loading(frequency_hz))
        if 1 - share_left <= _VISIBLE_LOSS:
            return ""
        probe = self.chosen.probe
        return (
            f"The {probe.name} adds {probe.capacitance} and {probe.resistance} here and leaves"
            f" {share_left:.0%} of what there is at {print_value(frequency_hz, 'Hz')}."
        )

    def _describe_bandwidth(self, fastest_hz: float) -> str:
        """Return the sentence about bandwidth, empty where the fastest part of it passes."""
        share_left = compute_one_pole_gain(fastest_hz, self.chosen.bandwidth_hz)
        if 1 - share_left <= _VISIBLE_LOSS:
            return ""
        return (
            f"{self.chosen.probe.name} and {self.chosen.scope.name} together pass"
            f" {print_value(self.chosen.bandwidth_hz, 'Hz')}: {share_left:.0%} of what there is at"
            f" {print_value(fastest_hz, 'Hz')}."
        )

    def _describe_aliasing(self, wanted_hz: float) -> str:
        """Return the sentence about undersampling, empty where the sample rate is sufficient."""
        sampled_hz, scope = self.sampled_hz, self.chosen.scope
        if sampled_hz is None or sampled_hz >= _NYQUIST_RATIO * wanted_hz:
            return ""
        assert scope.sample_rate is not None  # else there is no sampled_hz
        assert scope.record_length is not None
        safe_s = find_slowest_timebase_s(wanted_hz, scope.sample_rate.nominal, scope.record_length)
        remedy = (
            f"set {print_value(safe_s, 's')} per division or faster"
            if safe_s is not None
            else "it needs a faster oscilloscope"
        )
        rate = print_value(sampled_hz, "Hz").replace("Hz", "samples a second")
        alias = print_value(compute_aliased_frequency_hz(wanted_hz, sampled_hz), "Hz")
        return (
            f"At {print_value(self.settings.time_per_div_s, 's')} per division the"
            f" {scope.name} takes {rate} and shows {print_value(wanted_hz, 'Hz', 5)} as {alias};"
            f" {remedy}."
        )

    def _describe_resolution(self) -> str:
        """Return the sentence about steps of height, empty where they are too small to see."""
        bits, waveform = self.chosen.scope.bits, self.expectation.waveform
        if bits is None or waveform is None:
            return ""
        height_v = compute_quantisation_step_v(self.settings.volts_per_div, bits)
        if height_v <= _VISIBLE_STEP * waveform.vpp_v or not math.isfinite(height_v):
            return ""
        return f"With {bits} bits each step is {print_value(height_v, 'V')} high."
