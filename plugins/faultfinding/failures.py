"""How each kind of part fails, and what the whole chip then reads: the fault dictionary."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

from ...schema import Chip
from .circuit import Network, ac_network, dc_network, expectations_in, signal_frequencies
from .elements import CAPACITIVE, RESISTIVE, Element

_LEAKS_OHM: Final = (1e6, 100e3, 10e3)
_DRIFT: Final = 3.0  # a resistor that drifted is taken at this many times its value
_DRIED: Final = 0.15  # of its value is left to a dried-out electrolytic
_DRIED_OHM: Final = 50.0
_SHORTED_TURNS: Final = 0.3

JOINT_OPEN: Final = "joint open"
PIN_JOINT: Final = "joint of a pin"


@dataclass(frozen=True)
class Failure:
    """One part, one way to fail; or the joint of a pin."""

    ref: str
    """Reference of the part, or ``pin 9``."""
    kind: str
    mode: str
    """``open``, ``shorted``, ``leaky, 100 kΩ``, ``dried out``, ``joint open`` ..."""

    def __str__(self) -> str:
        return f"{self.ref} {self.mode}"


@dataclass(frozen=True)
class Effect:
    """What one failure makes a point read: volts DC, and peak to peak at the signal's frequency."""

    dc_v: float | None
    vpp_v: float | None


@dataclass(frozen=True)
class FaultDictionary:
    """Healthy readings of every point, and those under every failure, in one condition."""

    condition: str
    healthy: dict[str, Effect]
    failed: dict[Failure, dict[str, Effect]]

    @cached_property
    def named(self) -> dict[tuple[str, str], dict[str, Effect]]:
        """The effects of each failure by its reference and mode."""
        return {(failure.ref, failure.mode): effects for failure, effects in self.failed.items()}


def failures(elements: Sequence[Element]) -> Iterator[tuple[Failure, dict[int, Element]]]:
    """Every way each part fails, and what the elements at these positions then are.

    A filter of several elements fails as a whole, a potentiometer on either side of its slider.
    """
    for ref in dict.fromkeys(element.ref for element in elements):
        found = {at: element for at, element in enumerate(elements) if element.ref == ref}
        kind = next(iter(found.values())).kind
        yield from _joints(ref, found)
        if kind == "ceramic filter":
            yield Failure(ref, kind, "open"), {at: _opened(e) for at, e in found.items()}
            continue
        for at, element in found.items():
            side = f", {element.ends[0]} to {element.ends[1]}" if len(found) > 1 else ""
            for mode, failed in _modes(element):
                yield Failure(ref, kind, mode + side), {at: failed}


def _joints(ref: str, found: dict[int, Element]) -> Iterator[tuple[Failure, dict[int, Element]]]:
    """A part whose lead has come loose from the board; of several leads, each."""
    kind = next(iter(found.values())).kind
    if len(found) == 1:
        yield Failure(ref, kind, JOINT_OPEN), {at: _opened(e) for at, e in found.items()}
        return
    for end in dict.fromkeys(end for element in found.values() for end in element.ends):
        loose = {at: _opened(e) for at, e in found.items() if end in e.ends}
        yield Failure(ref, kind, f"{JOINT_OPEN}, at {end}"), loose


def _modes(element: Element) -> Iterator[tuple[str, Element]]:
    is_open = _opened(element)
    shorted = replace(element, series_ohm=0.0, inductance_h=0.0, capacitance_f=math.inf)
    if element.kind in RESISTIVE:
        yield "open", is_open
        yield "drifted up", replace(element, series_ohm=_DRIFT * element.series_ohm)
    elif element.kind in CAPACITIVE:
        yield "open", is_open
        yield "shorted", shorted
        for ohm in _LEAKS_OHM:
            yield f"leaky, {ohm / 1e3:g} kΩ", replace(element, parallel_ohm=ohm)
        if element.kind == "electrolytic capacitor":
            dried_f = _DRIED * element.capacitance_f
            yield "dried out", replace(element, capacitance_f=dried_f, series_ohm=_DRIED_OHM)
    elif element.kind == "coil":
        yield "open", is_open
        henry = _SHORTED_TURNS * element.inductance_h
        yield "shorted turns", replace(element, inductance_h=henry)
    elif element.kind in ("crystal", "ceramic resonator"):
        yield "dead", is_open
        yield "off frequency", element  # the oscillator follows it; the network stays as it is
    elif element.kind in ("diode", "zener diode"):
        yield "open", replace(is_open, drop_v=0.0)
        yield "shorted", replace(shorted, drop_v=0.0)
        yield f"leaky, {_LEAKS_OHM[1] / 1e3:g} kΩ", replace(element, parallel_ohm=_LEAKS_OHM[1])


def _opened(element: Element) -> Element:
    return replace(element, series_ohm=math.inf, parallel_ohm=math.inf, parallel_f=0.0)


def fault_dictionary(chip: Chip, condition: str) -> FaultDictionary:
    """Solve the network with every failure of every part, and with every pin cut off, at DC and at
    each signal frequency."""
    networks = [dc_network(chip, condition)]
    networks += [ac_network(chip, condition, hz) for hz in signal_frequencies(chip, condition)]
    signal_at = _network_of_points(chip, condition)
    offset_v = _offsets_v(chip, condition, networks[0])
    names = networks[0].names

    highest_v = _highest_v(chip, networks[0])
    most_v = _most_vpp_v(chip, condition)

    def effects(broken: Mapping[int, Element], lifted: str | None = None) -> dict[str, Effect]:
        solved = [
            network.volts((broken.get(at, e) for at, e in enumerate(network.elements)), lifted)
            for network in networks
        ]
        found = {}
        for name in names:
            dc_v = solved[0][name].real + offset_v.get(name, 0.0)
            dc_v = min(max(dc_v, -highest_v), highest_v)
            vpp_v = None
            if name in signal_at:
                network = networks[signal_at[name]]
                amplitude_v = abs(solved[signal_at[name]][name]) * network.scale.get(name, 1.0)
                vpp_v = min(amplitude_v, most_v.get(name, highest_v))
            found[name] = Effect(dc_v, vpp_v)
        return found

    failed = {failure: effects(broken) for failure, broken in failures(networks[0].elements)}
    for pin in joined_pins(chip):
        failed[Failure(pin, PIN_JOINT, JOINT_OPEN)] = effects({}, lifted=pin)
    return FaultDictionary(condition, effects({}), failed)


def joined_pins(chip: Chip) -> list[str]:
    """The pins with a part on them, grounds left out: those whose joint matters to the network."""
    joined = {end for part in chip.application.parts for end in part.joins}
    pins = [f"pin {pin.number}" for pin in chip.pins if pin.role != "ground"]
    return [name for name in pins if name in joined]


def _highest_v(chip: Chip, healthy: Network) -> float:
    """Volts that nothing on this board can go beyond: the highest there is when all is well."""
    supplies = [supply.voltage.nominal for supply in chip.supplies]
    peaks = [e.waveform.vpp_v for p in chip.pins for e in p.expectations if e.waveform is not None]
    return max(*supplies, *peaks, *(abs(v) for v in healthy.volts().values()))


def _most_vpp_v(chip: Chip, condition: str) -> dict[str, float]:
    """The most that each pin can swing: from rail to rail, or what is fed to it in a good set."""
    ends = [0.0, *(supply.voltage.nominal for supply in chip.supplies)]
    fed = {
        name: expectation.waveform.vpp_v
        for name, expectation in expectations_in(chip, condition)
        if expectation.waveform is not None
    }
    pins = (f"pin {pin.number}" for pin in chip.pins)
    return {name: max(max(ends) - min(ends), fed.get(name, 0.0)) for name in pins}


def _offsets_v(chip: Chip, condition: str, healthy: Network) -> dict[str, float]:
    """How far each point known by the catalogue lies from the healthy network: next to nothing,
    but for nodes whose volts transistors make, which the network leaves out."""
    solved = healthy.volts()
    return {
        name: expectation.dc.nominal - solved[name].real
        for name, expectation in expectations_in(chip, condition)
        if expectation.dc is not None
    }


def _network_of_points(chip: Chip, condition: str) -> dict[str, int]:
    """Which of the networks carries the signal of each point that has one; 0 is DC."""
    frequencies = signal_frequencies(chip, condition)
    return {
        name: 1 + frequencies.index(hz)
        for name, expectation in expectations_in(chip, condition)
        if expectation.waveform is not None
        and (hz := round(expectation.waveform.amplitude_hz, 3)) in frequencies
    }
