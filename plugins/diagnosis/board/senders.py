"""Senders of signals on a board: stages at their pins, resonators, and anything not drawn."""

from __future__ import annotations

import re
from typing import Final

from ....schema import Block
from .devices import order_leads
from .elements import CAPACITIVE, RESONATORS
from .topology import Topology, find_carried

_BESIDE_RESONATORS: Final = ("capacitor", "trimmer capacitor", "resistor", "coil")
_MOST_PARTS_BETWEEN: Final = 3  # a pin and its resonator
_NO_SIGNAL: Final = ("control voltage", "steady", "noise")
_SENDS: Final = ("output", "oscillator", "bus")
FEEDBACK_WORDS: Final = re.compile(r"feedback|(?<!non-)(?<!non )inverting", re.IGNORECASE)
_COMES_FROM: Final = re.compile(r"\bwinding\b|\bfrom the\b|\btuner\b", re.IGNORECASE)
_TRANSISTOR_LEADS: Final = 3
_KEEPS: Final = ("filter", "decoupling", "oscillator", "reference", "output")
_IN_SERIES: Final = ("resistor", "capacitor", "electrolytic capacitor", "ceramic filter", "coil")


def carries_signal(topology: Topology, name: str) -> bool:
    """Return whether the catalogue states a signal for a point, in the condition."""
    expectation = topology.expectations.get(name)
    waveform = expectation.waveform if expectation is not None else None
    return waveform is not None and waveform.kind not in _NO_SIGNAL


def find_sources(topology: Topology) -> dict[str, str]:
    """Return the points that send a signal, each with the point that states the signal.

    They are the pins that stages drive, the outside nodes, and, for an input of which no such
    source is known, the far end of the parts that lead to it.
    """
    driven = {pin for block in topology.chip.blocks for pin in list_driven_pins(topology, block)}
    sources = {
        name: name
        for name, pin in topology.pin_at.items()
        if carries_signal(topology, name) and (pin.role in _SENDS or name in driven)
    }
    sources |= {n: n for n in topology.outside_signals if carries_signal(topology, n)}
    carried_points = find_carried(topology.chip, sources)
    for name, pin in topology.pin_at.items():
        is_explained = name in carried_points or pin.role == "supply"
        if not is_explained and carries_signal(topology, name):
            # The sheet states the signal at the input; it comes in farther out.
            far_end = _find_far_end(topology, name)
            if not _is_foot_of_feedback(topology, name, far_end):
                sources.setdefault(far_end, name)
    return sources


def list_driven_pins(topology: Topology, block: Block) -> list[str]:
    """Return the pins at which a stage shows its signal: its outputs, then those it needs alone."""
    outputs = [e for e in block.outputs if e in topology.pin_at]
    return [e for e in (*outputs, *list_needed_pins(topology, block)) if is_driven(topology, e)]


def is_driven(topology: Topology, pin: str) -> bool:
    """Return whether the chip can drive a pin."""
    return topology.pin_at[pin].role != "input"


def list_needed_pins(topology: Topology, block: Block) -> list[str]:
    """Return pins that a stage needs and no stage puts out at, which show a signal all the same.

    They are stores, and coils of detectors.
    """
    put_out = {end for other in topology.chip.blocks for end in other.outputs}
    return [
        end
        for end in block.needs
        if end in topology.pin_at
        and end not in put_out
        and topology.pin_at[end].role in _KEEPS
        and carries_signal(topology, end)
    ]


def _find_far_end(topology: Topology, name: str) -> str:
    """Return the node at the far end of the small parts in series with an input; or the input.

    A drawn transistor on the way amplifies: the signal comes in at its base.
    """
    names = {node.id: node.name for node in topology.chip.application.nodes}
    visited, end = {name}, name
    while True:
        if _COMES_FROM.search(names.get(end, "")):
            return end
        next_ends = [
            other
            for part in topology.parts_at.get(end, ())
            if part.kind in _IN_SERIES
            for other in part.joins
            if other not in visited and not _ends_the_way(topology, other)
        ]
        next_ends = next_ends or [b for b in _list_bases(topology, end) if b not in visited]
        if not next_ends:
            return end
        # Where parts fork, the first one drawn is taken as the signal's way.
        end = next_ends[0]
        visited.add(end)


def _is_foot_of_feedback(topology: Topology, name: str, far_end: str) -> bool:
    """Return whether nothing comes in behind a feedback pin: a capacitor is all that is there, and
    the signal is the chip's own."""
    if not FEEDBACK_WORDS.search(topology.pin_at[name].function):
        return False
    behind = [part for part in topology.parts_at.get(far_end, ()) if name not in part.joins]
    # A dead end, or a resistor to ground, would be where a current comes in to be sensed.
    return bool(behind) and all(part.kind in CAPACITIVE for part in behind)


def _list_bases(topology: Topology, end: str) -> list[str]:
    """Return the bases of the transistors at whose collector or emitter a node lies, and that no
    pulses switch."""
    bases = []
    for part in topology.parts_at.get(end, ()):
        if part.kind == "transistor" and len(part.joins) == _TRANSISTOR_LEADS:
            base = part.joins[order_leads(part)[0]]
            if base != end and base not in topology.pin_at and not topology.is_pulsed(base):
                bases.append(base)
    return bases


def _ends_the_way(topology: Topology, end: str) -> bool:
    """Return whether a signal goes no further: at a pin, or at a point at rest."""
    return end in topology.pin_at or topology.is_quiet(end)


def find_resonator(topology: Topology, pin: str) -> str | None:
    """Return the crystal or ceramic resonator that a pin leads to through small parts.

    The nearest one; None where there is none within a few parts.
    """
    visited, current_ends = {pin}, [pin]
    for _ in range(_MOST_PARTS_BETWEEN):
        next_ends: list[str] = []
        for end in current_ends:
            for part in topology.parts_at.get(end, ()):
                if part.kind in RESONATORS and part.quantity is not None:
                    return part.ref
                if part.kind not in _BESIDE_RESONATORS:
                    continue
                for other in part.joins:
                    if other not in visited and not _ends_the_way(topology, other):
                        next_ends.append(other)
        visited.update(next_ends)
        current_ends = next_ends
    return None
