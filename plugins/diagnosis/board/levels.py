"""Voltages that a good board is calibrated to, and the nodes that are fed from outside."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

from .sources import SourceKind
from .topology import Topology

FEEDS: Final = ("resistor", "coil", "diode", "connector", "transformer")
LEAST_SUPPLY_V: Final = 0.5
USUAL_LOAD_A: Final = 0.02
_NAMED_VOLTS: Final = re.compile(r"(?<![\w.])(-?\d+(?:\.\d+)?) ?v\b", re.IGNORECASE)
_PUMPED: Final = ("pulse",)


def list_held_levels(topology: Topology) -> dict[str, float]:
    """Return the stated voltages as levels to solve for.

    A supply that a pump lifts in pulses is solved at its level between them.
    """
    levels = dict(topology.stated_dc_v)
    for name in topology.list_pins("supply"):
        expectation = topology.expectations.get(name)
        waveform = expectation.waveform if expectation is not None else None
        if waveform is not None and waveform.kind in _PUMPED:
            levels[name] = waveform.extremes_v[0]
    return _find_rails_by_name(topology) | levels | _estimate_unstated_rails(topology, levels)


def _find_rails_by_name(topology: Topology) -> dict[str, float]:
    """Return the volts of rails as they are called: ``95 V rail of the tube board``."""
    found = {}
    for node in topology.chip.application.nodes:
        told = _NAMED_VOLTS.search(node.name) or _NAMED_VOLTS.search(node.id.replace("-", " "))
        if node.id.startswith("rail") and told is not None:
            found[node.id] = float(told[1])
    return found


def _estimate_unstated_rails(topology: Topology, levels: Mapping[str, float]) -> dict[str, float]:
    """Return the volts of unstated rails: enough to feed the supply pins on them."""
    rail_v: dict[str, float] = {}
    for supply in topology.chip.supplies:
        load_a = supply.current.nominal if supply.current else USUAL_LOAD_A
        for name in (f"pin {number}" for number in supply.pins):
            for part in topology.parts_at.get(name, ()):
                rails = [e for e in part.joins if e.startswith("rail") and e not in levels]
                if not rails or part.kind not in FEEDS or name not in levels:
                    continue
                ohm = part.quantity.nominal if part.kind == "resistor" and part.quantity else 1.0
                rail_v[rails[0]] = levels[name] + load_a / len(supply.pins) * ohm
    return rail_v


def find_outside_kinds(topology: Topology) -> dict[str, SourceKind]:
    """Return the nodes fed from outside the drawing: rails, and where signals come in."""
    kinds: dict[str, SourceKind] = {}
    for node in topology.chip.application.nodes:
        if node.id.startswith("rail"):
            kinds[node.id] = "rail"
    for name in topology.outside_signals:
        kinds.setdefault(name, "outside")
    for name, stated_v in topology.stated_dc_v.items():
        if name in topology.pin_at or name in kinds:
            continue
        # A stated voltage at the dead end of a part comes from outside.
        is_dead_end = len(topology.parts_at.get(name, ())) == 1
        is_fed = abs(stated_v) > LEAST_SUPPLY_V
        if is_dead_end and is_fed and not _is_behind_a_pin(topology, name):
            kinds[name] = "outside"
    return kinds


def list_switching_nodes(topology: Topology) -> list[str]:
    """Return the nodes from which a switching voltage comes, high or low by the set's state.

    They are dead ends of a resistor at a control pin, of little or no stated voltage.
    """
    names = []
    for node in topology.chip.application.nodes:
        parts = topology.parts_at.get(node.id, ())
        is_low = abs(topology.stated_dc_v.get(node.id, 0.0)) <= LEAST_SUPPLY_V
        if len(parts) != 1 or parts[0].kind != "resistor" or not is_low:
            continue
        pins = [topology.pin_at[end] for end in parts[0].joins if end in topology.pin_at]
        # A dead end at an input may be a signal; at a control pin it is an order.
        is_control = any(pin.role == "control" for pin in pins)
        if is_control and node.id not in topology.outside_signals:
            names.append(node.id)
    return names


def _is_behind_a_pin(topology: Topology, name: str) -> bool:
    """Return whether the one part at a node leads to an output, which then drives it."""
    (part,) = topology.parts_at[name]
    if part.kind == "transistor":
        return True
    pins = [topology.pin_at[end] for end in part.joins if end in topology.pin_at]
    return any(pin.role in ("output", "oscillator", "reference") for pin in pins)
