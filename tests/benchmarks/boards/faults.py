"""Possible faults of a board, and the right answers to each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from .drawn_chip import DrawnChip

Thing = tuple[str, str]
"""Sort and name of a suspect: ``("part", "C12")``, ``("joint", "pin 3")``, ``("chip", "")``."""


@dataclass(frozen=True)
class Failure:
    """How a part has failed; ``figure`` is its value now, or the ohms of a leak.

    Modes: open, shorted, leaky, value; of a crystal also off (by ``figure``, relative); of a
    potentiometer slider open, bottom open; of a transistor base-emitter open, base-emitter
    shorted, collector-emitter shorted.
    """

    mode: str
    figure: float = 0.0


@dataclass(frozen=True)
class Fault:
    """One thing wrong with a board."""

    title: str
    sort: str
    parts: Mapping[str, Failure] = field(default_factory=dict)
    lifted: frozenset[str] = frozenset()
    """Pins whose joint is open."""
    ground_ohms: Mapping[str, float] = field(default_factory=dict)
    """Ground pins whose joint has this resistance."""
    dead_stage: str | None = None
    silent: frozenset[str] = frozenset()
    """Outside nodes whose signal does not come; their bias stays."""
    outside_v: Mapping[str, float] = field(default_factory=dict)
    """Outside nodes with other open-circuit volts, rails among them."""
    equally_right: tuple[Thing, ...] = ()
    """What no measurement on the board tells from it."""

    def failure(self, ref: str) -> Failure | None:
        """Return how this part has failed, or None for a good one."""
        return self.parts.get(ref)


NO_FAULT = Fault("good board", "good")


def part_fault(ref: str, mode: str, figure: float = 0.0, *equally_right: Thing) -> Fault:
    """Return the fault of one part, sorted by how it failed."""
    title = f"{ref} {mode}" + (f" {figure:g}" if figure else "")
    sort = "value" if mode in ("value", "off") else "leak" if mode == "leaky" else mode
    if sort not in ("value", "leak", "open", "shorted"):
        sort = "shorted" if "short" in mode else "open"
    return Fault(title, sort, parts={ref: Failure(mode, figure)}, equally_right=equally_right)


def open_joint(pin: str, *equally_right: Thing) -> Fault:
    """Return the fault of a pin whose solder joint does not conduct."""
    return Fault(f"{pin} joint", "joint", lifted=frozenset({pin}), equally_right=equally_right)


def ground_joint(pin: str, ohms: float) -> Fault:
    """Return the fault of a ground pin whose joint has some ohms."""
    return Fault(f"{pin} ground joint {ohms:g} ohm", "joint", ground_ohms={pin: ohms})


def dead_stage(stage: str) -> Fault:
    """Return the fault of a stage inside the chip that does nothing."""
    return Fault(f"{stage} dead", "stage", dead_stage=stage)


def missing_signal(node: str, *equally_right: Thing) -> Fault:
    """Return the fault of an outside signal that does not come."""
    return Fault(
        f"{node} missing", "outside", silent=frozenset({node}), equally_right=equally_right
    )


def outside_volts(node: str, volts: float, *equally_right: Thing) -> Fault:
    """Return the fault of a rail or an outside voltage that is not as it should be."""
    return Fault(
        f"{node} at {volts:g} V", "supply", outside_v={node: volts}, equally_right=equally_right
    )


def things_to_name(fault: Fault, chip: DrawnChip) -> frozenset[Thing]:
    """Return the right answers: part, joint, supply, outside signal, or the chip."""
    right: set[Thing] = {("part", ref) for ref in fault.parts}
    right |= {("joint", pin) for pin in (*fault.lifted, *fault.ground_ohms)}
    right |= {("outside", node) for node in (*fault.silent, *fault.outside_v)}
    if fault.dead_stage:
        right.add(("chip", ""))
    if any(node.startswith("rail") for node in fault.outside_v):
        right |= {("supply", name) for name in chip.supplies}
    return frozenset(right | set(fault.equally_right))
