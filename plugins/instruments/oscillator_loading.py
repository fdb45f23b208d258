"""An oscillator with a probe on it: how far its frequency moves, and whether it may stop."""

from __future__ import annotations

from typing import Final

from ...schema import Chip, Part, Pin, print_value
from ...schema.instruments import Probe
from ...schema.measuring.crystal import Resonator, frequency_shift_hz, typical_resonator

_RESONATORS: Final = ("crystal", "ceramic resonator")
_CAPACITORS: Final = ("capacitor", "trimmer capacitor")
_STALLING_LOAD_RATIO: Final = (
    2.0  # a load this many times its own may stop an oscillator. Common practice.
)
_NOTABLE_SHIFT: Final = 1e-6


def describe_oscillator_loading(chip: Chip, pin: Pin, probe: Probe) -> list[str]:
    """One line when a crystal or ceramic resonator hangs on the pin; none otherwise."""
    found = _find_resonator(chip, pin)
    if found is None or found.quantity is None:
        return []
    resonator = typical_resonator(found.kind, found.quantity.nominal)
    probe_f = probe.capacitance.nominal
    moved_hz = _compute_shift_hz(chip, pin, found, resonator, probe_f)
    if abs(moved_hz) <= _NOTABLE_SHIFT * resonator.nominal_hz:
        return []
    direction = "low" if moved_hz < 0 else "high"
    stops = " and may stop" if probe_f > _STALLING_LOAD_RATIO * resonator.load_f else ""
    better = "; use the x10 probe, or read it where it is buffered" if probe.factor == 1 else ""
    return [
        f"The {probe.name} adds {probe.capacitance} to {found.ref}: the oscillator runs about"
        f" {print_value(abs(moved_hz), 'Hz', 2)} {direction}{stops}{better}."
    ]


def _compute_shift_hz(
    chip: Chip, pin: Pin, part: Part, resonator: Resonator, probe_f: float
) -> float:
    """How far the frequency moves.

    With capacitors to ground at both ends these make up the load; else the load is the one that
    the resonator is made for, and the probe adds to it, which is the most it can do.
    """
    end = f"pin {pin.number}"
    ends = [
        sum_capacitance_f(chip, joined) for joined in (end, *(j for j in part.joins if j != end))
    ]
    if all(ends):
        own_f = pin.capacitance.nominal if pin.capacitance else 0.0
        return frequency_shift_hz(resonator, ends[0] + own_f, ends[1], probe_f)
    moved = resonator.loaded_hz(resonator.load_f + probe_f) / resonator.nominal_hz
    return resonator.nominal_hz * (moved - 1)


def _find_resonator(chip: Chip, pin: Pin) -> Part | None:
    end = f"pin {pin.number}"
    return next(
        (
            part
            for part in chip.application.parts
            if part.kind in _RESONATORS and end in part.joins and len(set(part.joins)) > 1
        ),
        None,
    )


def sum_capacitance_f(chip: Chip, end: str) -> float:
    """Capacitance of the parts from a point to ground, in farad."""
    return sum(
        part.quantity.nominal
        for part in chip.application.parts
        if part.kind in _CAPACITORS
        and part.quantity is not None
        and set(part.joins) == {end, "ground"}
    )
