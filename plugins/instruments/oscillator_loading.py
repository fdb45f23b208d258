"""Effect of a probe on an oscillator: its frequency shift, and whether it may stop."""

from __future__ import annotations

from typing import Final

from ...schema.chip import Chip
from ...schema.chips.application import Part
from ...schema.chips.data import Pin
from ...schema.instruments import Probe
from ...schema.measuring.crystal import Resonator, compute_frequency_shift_hz, typical_resonator
from ...schema.quantities import print_value

_RESONATORS: Final = ("crystal", "ceramic resonator")
_CAPACITORS: Final = ("capacitor", "trimmer capacitor")
_ORDINARY_PIN_F: Final = 20e-12  # of an oscillator's pin, as a crystal's load. Common practice.
# A probe of twice the load capacitance may stop an oscillator. Common practice.
_STALLING_LOAD_RATIO: Final = 2.0
_NOTABLE_SHIFT: Final = 1e-6  # of the frequency
_SHIFT_DIGITS: Final = 2  # of an estimate


def describe_oscillator_loading(chip: Chip, pin: Pin, probe: Probe) -> list[str]:
    """Return one sentence when a crystal or ceramic resonator is on the pin, else an empty list.

    A shift of less than one part in a million is not mentioned.
    """
    part, _ = _find_resonator(chip, pin)
    if part is None or part.quantity is None:
        return []
    resonator = typical_resonator(part.kind, part.quantity.nominal)
    # More capacitance always lowers the frequency.
    fall_hz = -compute_pull_hz(chip, pin, probe)
    if fall_hz <= _NOTABLE_SHIFT * resonator.nominal_hz:
        return []
    is_heavy = probe.capacitance.nominal > _STALLING_LOAD_RATIO * resonator.load_f
    stops = " and may stop" if is_heavy else ""
    remedy = "; use the x10 probe, or read it where it is buffered" if probe.factor == 1 else ""
    return [
        f"The {probe.name} adds {probe.capacitance} to {part.ref}: the oscillator runs about"
        f" {print_value(fall_hz, 'Hz', _SHIFT_DIGITS)} low{stops}{remedy}."
    ]


def compute_pull_hz(chip: Chip, pin: Pin, probe: Probe) -> float:
    """Return how far a probe on this pin moves its oscillator, in hertz; 0 without a resonator.

    Negative for a lower frequency.
    """
    part, series_f = _find_resonator(chip, pin)
    if part is None or part.quantity is None:
        return 0.0
    resonator = typical_resonator(part.kind, part.quantity.nominal)
    if series_f is not None:
        own_f = pin.capacitance.nominal if pin.capacitance else _ORDINARY_PIN_F
        own_f += sum_capacitance_f(chip, f"pin {pin.number}")
        return compute_frequency_shift_hz(resonator, own_f, series_f, probe.capacitance.nominal)
    return _compute_shift_hz(chip, pin, part, resonator, probe.capacitance.nominal)


def _compute_shift_hz(
    chip: Chip, pin: Pin, part: Part, resonator: Resonator, probe_f: float
) -> float:
    """Return the change of frequency in hertz, negative for a lower one.

    Where capacitors to ground at both ends of the resonator are known, they are its load.
    Otherwise its specified load is assumed and the probe adds to that in full, which is the
    largest effect possible.
    """
    end = f"pin {pin.number}"
    near_f = sum_capacitance_f(chip, end)
    far_capacitances_f = [sum_capacitance_f(chip, other) for other in part.joins if other != end]
    if near_f and all(far_capacitances_f):
        own_f = pin.capacitance.nominal if pin.capacitance else 0.0
        return compute_frequency_shift_hz(resonator, near_f + own_f, far_capacitances_f[0], probe_f)
    frequency_ratio = resonator.loaded_hz(resonator.load_f + probe_f) / resonator.nominal_hz
    return resonator.nominal_hz * (frequency_ratio - 1)


def _find_resonator(chip: Chip, pin: Pin) -> tuple[Part | None, float | None]:
    """Return the crystal or ceramic resonator on a pin, and the farad of a capacitor in series.

    None for the capacitor where it is on the pin itself; None twice where there is none.
    """
    end, parts = f"pin {pin.number}", chip.application.parts
    resonators = [part for part in parts if part.kind in _RESONATORS and len(set(part.joins)) > 1]
    for resonator in resonators:
        if end in resonator.joins:
            return resonator, None
    for capacitor in parts:
        if capacitor.kind not in _CAPACITORS or capacitor.quantity is None:
            continue
        for resonator in resonators:
            # In series: it leads from the pin to one end of the resonator, whose other is grounded.
            shared_ends = {*capacitor.joins} & {*resonator.joins}
            leads_from_pin = {end} | shared_ends == {*capacitor.joins}
            if leads_from_pin and {"ground"} | shared_ends == {*resonator.joins}:
                return resonator, capacitor.quantity.nominal
    return None, None


def sum_capacitance_f(chip: Chip, end: str) -> float:
    """Return the total capacitance in farad of the parts between a point and ground."""
    return sum(
        part.quantity.nominal
        for part in chip.application.parts
        if part.kind in _CAPACITORS
        and part.quantity is not None
        and set(part.joins) == {end, "ground"}
    )
