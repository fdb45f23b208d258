"""An oscillator with a probe on it: how far its frequency moves, and whether it may stop."""

from __future__ import annotations

from typing import Final

from ...schema import Chip, Part, Pin, print_value
from ...schema.instrument import Probe
from ...schema.measuring.crystal import ordinary, shift_hz

_RESONATORS: Final = ("crystal", "ceramic resonator")
_CAPACITORS: Final = ("capacitor", "trimmer capacitor")
_PIN_F: Final = 8e-12  # an oscillator pin with its track, where no capacitance is given
_STOPS: Final = 2.0  # a load this many times its own may stop an oscillator. Common practice.
_AT_GROUND_F: Final = 1.0  # as good as a short beside picofarads
_WORTH_SAYING: Final = 1e-6


def oscillator_remark(chip: Chip, pin: Pin, probe: Probe) -> list[str]:
    """One line when a crystal or ceramic resonator hangs on the pin; none otherwise."""
    found = _resonator_on(chip, pin)
    if found is None or found.quantity is None:
        return []
    end = f"pin {pin.number}"
    other_end = next(joined for joined in found.joins if joined != end)
    pin_f = _node_f(chip, end) + (pin.capacitance.nominal if pin.capacitance else _PIN_F)
    other_f = _node_f(chip, other_end) or (_AT_GROUND_F if other_end == "ground" else pin_f)
    probe_f = probe.capacitance.nominal
    resonator = ordinary(found.kind, found.quantity.nominal)
    moved_hz = shift_hz(resonator, pin_f, other_f, probe_f)
    if abs(moved_hz) <= _WORTH_SAYING * resonator.nominal_hz:
        return []
    direction = "low" if moved_hz < 0 else "high"
    stops = " and may stop" if probe_f > _STOPS * pin_f else ""
    better = "; use the x10 probe, or read it where it is buffered" if probe.factor == 1 else ""
    return [
        f"The {probe.name} adds {probe.capacitance} to {found.ref}: the oscillator runs about"
        f" {print_value(abs(moved_hz), 'Hz', 2)} {direction}{stops}{better}."
    ]


def _resonator_on(chip: Chip, pin: Pin) -> Part | None:
    end = f"pin {pin.number}"
    return next(
        (
            part
            for part in chip.application.parts
            if part.kind in _RESONATORS and end in part.joins and len(set(part.joins)) > 1
        ),
        None,
    )


def _node_f(chip: Chip, end: str) -> float:
    """Capacitance of the parts from a point to ground, in farad."""
    return sum(
        part.quantity.nominal
        for part in chip.application.parts
        if part.kind in _CAPACITORS
        and part.quantity is not None
        and set(part.joins) == {end, "ground"}
    )
