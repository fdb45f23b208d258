"""Points of a board: their parts, stated figures, supplies and grounds."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Final

from ....schema import Block, Chip, Expectation, Part, Pin
from .elements import CAPACITIVE
from .kinds import find_kind

GROUND: Final = "ground"
_OPEN_COLLECTOR: Final = re.compile(r"open[- ](collector|drain)", re.IGNORECASE)
_FROM_OUTSIDE: Final = re.compile(
    r"\b(from|of) the\b.*(tuner|if\b|board|processor|jungle|decoder|socket|strip|head|receiver"
    r"|transformer|stage|output of)"
)
_DAMPING_OHM: Final = 10e3  # in series with a filter's capacitor
_SMALL_OHM: Final = 680.0  # beside what lies behind a dead end
_QUIET: Final = ("no signal", "free-running", "no input")
_STILL_THERE: Final = 0.5  # of a signal: as much in the quiet condition is the same one
_FARTHEST_STAGES: Final = 3  # along the diagram, for the supply or ground that a pin lives on
_SET_IS_OFF: Final = ("off", "standby")
_PULSED: Final = ("pulse", "line pulse", "field pulse", "flyback pulse", "servo pulse")
_CARRYING_DC: Final = ("resistor", "coil", "potentiometer", "transformer", "connector", "diode")


@dataclass(frozen=True, eq=False)
class Topology:
    """A chip with its application, in one condition of the set."""

    chip: Chip
    condition: str

    @cached_property
    def points(self) -> tuple[str, ...]:
        """Every pin, then every node, then ends of parts that are declared nowhere."""
        declared = [name_point(pin) for pin in self.chip.pins]
        declared += [node.id for node in self.chip.application.nodes]
        ends = [end for part in self.chip.application.parts for end in part.joins]
        return tuple(dict.fromkeys([*declared, *(end for end in ends if end != GROUND)]))

    @cached_property
    def index(self) -> dict[str, int]:
        """The number of each point; ground comes after the last."""
        return {name: at for at, name in enumerate(self.points)} | {GROUND: len(self.points)}

    @cached_property
    def pin_at(self) -> dict[str, Pin]:
        """The pins by the names of their points."""
        return {name_point(pin): pin for pin in self.chip.pins}

    @cached_property
    def expectations(self) -> dict[str, Expectation]:
        """Stated figures of points in the condition; of one without, in another with a signal."""
        return {name: e for name, e in self._list_stated() if e.condition == self.condition}

    def _list_stated(self) -> Iterable[tuple[str, Expectation]]:
        """Yield all that the catalogue states, of pins and of nodes."""
        for name, pin in self.pin_at.items():
            yield from ((name, expectation) for expectation in pin.expectations)
        for node in self.chip.application.nodes:
            yield from ((node.id, expectation) for expectation in node.expectations)

    @cached_property
    def stated_dc_v(self) -> dict[str, float]:
        """The DC voltages that the catalogue gives, by point.

        A point without one in this condition reads as in another one with the set on.
        """
        found = {n: e.dc.nominal for n, e in self.expectations.items() if e.dc is not None}
        for name, e in self._list_stated():
            if e.dc and e.condition not in _SET_IS_OFF:
                found.setdefault(name, e.dc.nominal)
        for name, pin in self.pin_at.items():
            if pin.role == "ground":
                found.setdefault(name, 0.0)
        return found

    @cached_property
    def _quiet(self) -> dict[str, Expectation]:
        """Stated figures of points in a condition without a signal."""
        names = [c.name for c in self.chip.conditions]
        quiet = next((n for n in names if n in _QUIET and n != self.condition), None)
        return {name: e for name, e in self._list_stated() if e.condition == quiet}

    @cached_property
    def quiet_dc_v(self) -> dict[str, float]:
        """The DC voltages that points show without a signal, where the catalogue tells."""
        return {n: e.dc.nominal for n, e in self._quiet.items() if e.dc is not None}

    @cached_property
    def idle_dc_v(self) -> dict[str, float]:
        """The same of points whose signal is gone then; deflection runs on without a station."""
        return {n: volts for n, volts in self.quiet_dc_v.items() if not self._runs_on(n)}

    def _runs_on(self, name: str) -> bool:
        """Return whether a point shows its signal in the quiet condition as well."""
        first, second = self.expectations.get(name), self._quiet[name]
        if first is None or first.waveform is None or second.waveform is None:
            return False
        if second.waveform.kind == "noise":
            return False
        if not (first.waveform.period_s and second.waveform.period_s):
            return False
        return second.waveform.figures.vpp_v > _STILL_THERE * first.waveform.figures.vpp_v

    @cached_property
    def quiet_noise_vpp(self) -> dict[str, float]:
        """The noise that points show without a signal, peak to peak, where the catalogue tells."""
        waveforms = {name: e.waveform for name, e in self._quiet.items()}
        return {n: w.figures.vpp_v for n, w in waveforms.items() if w and w.kind == "noise"}

    @cached_property
    def blocks_at(self) -> dict[str, tuple[Block, ...]]:
        """The stages that a pin or stage is named by, as input, output or need."""
        found: dict[str, list[Block]] = {}
        for block in self.chip.blocks:
            for end in dict.fromkeys((*block.outputs, *block.inputs, *block.needs)):
                found.setdefault(end, []).append(block)
        return {end: tuple(blocks) for end, blocks in found.items()}

    @cached_property
    def parts_at(self) -> dict[str, tuple[Part, ...]]:
        """The parts with a lead at each point."""
        found: dict[str, list[Part]] = {}
        for part in self.chip.application.parts:
            for end in dict.fromkeys(part.joins):
                found.setdefault(end, []).append(part)
        return {end: tuple(parts) for end, parts in found.items()}

    def list_pins(self, role: str) -> list[str]:
        """Return the points of the pins with a role."""
        return [name for name, pin in self.pin_at.items() if pin.role == role]

    @cached_property
    def supply_of(self) -> dict[str, str]:
        """The supply pin that each other pin lives on: of the stages that name it, else the first.

        One that sits above that supply lives on the highest.
        """
        found = {}
        for name, pin in self.pin_at.items():
            if pin.supply in self.pin_at:
                found[name] = pin.supply
            elif pin.role not in ("supply", "ground"):
                found[name] = self._find_nearest(name, "supply") or self._first_supply
                if self.stated_dc_v.get(name, 0.0) > 1.02 * self.find_nominal_v(found[name]):
                    found[name] = self._highest_supply
        return found

    @cached_property
    def ground_of(self) -> dict[str, str]:
        """The ground pin that each other pin's stages return to, else the first; else ground."""
        grounds = self.list_pins("ground")
        first = grounds[0] if grounds else GROUND
        names = [n for n, pin in self.pin_at.items() if pin.role != "ground"]
        return {name: self._find_nearest(name, "ground") or first for name in names}

    @cached_property
    def reference_of(self) -> dict[str, str]:
        """The reference pin that biases a pin, where its stage needs one and no supply.

        A filter rests at the reference of its detector, whatever that runs on.
        """
        references: dict[str, str] = {}
        for name, pin in self.pin_at.items():
            if pin.role in ("supply", "ground", "reference"):
                continue
            for block in self.blocks_at.get(name, ()):
                needs = self.find_needed_pins(block)
                is_filter_of_it = pin.role == "filter" and name in block.outputs
                # A stage on a supply of its own follows that supply instead.
                if "reference" in needs and (is_filter_of_it or "supply" not in needs):
                    references[name] = needs["reference"]
        return references

    def find_supply_ground(self, supply_pin: str) -> str:
        """Return the ground pin that the current of a supply pin leaves by."""
        return self.ground_of.get(supply_pin, GROUND)

    def find_needed_pins(self, block: Block) -> dict[str, str]:
        """Return, by role, the first pin that a stage needs, also through stages it needs."""
        needed: dict[str, str] = {}
        blocks = {b.id: b for b in self.chip.blocks}
        for end in (*block.needs, *block.inputs):
            if end in self.pin_at:
                role = "reference" if end in self._made_references else self.pin_at[end].role
                needed.setdefault(role, end)
        for end in block.needs:
            for out in blocks[end].outputs if end in blocks else ():
                if out in self.pin_at and self.pin_at[out].role == "reference":
                    needed.setdefault("reference", out)
        return needed

    @cached_property
    def _made_references(self) -> frozenset[str]:
        """The pins that a reference stage puts out at, whatever their role."""
        makers = [block for block in self.chip.blocks if find_kind(block) == "reference"]
        return frozenset(end for block in makers for end in block.outputs if end in self.pin_at)

    def _find_nearest(self, name: str, role: str) -> str | None:
        """Return the pin of a role that stages naming the point need, or stages beside them."""
        references = self.list_pins("reference")
        visited, current_ends = set[str](), [name]
        for _ in range(_FARTHEST_STAGES):
            next_ends: list[str] = []
            for block in (b for end in current_ends for b in self.blocks_at.get(end, ())):
                if name not in current_ends and find_kind(block) == "output stage":
                    continue  # it has a supply of its own, mostly a higher one
                for need in (*block.needs, *block.inputs):
                    if need in self.pin_at and self.pin_at[need].role == role:
                        return need
                # On to the stages and references that this stage is fed by.
                next_ends += [block.id, *(e for e in block.needs if e not in self.pin_at)]
                next_ends += [e for e in block.needs if e in references]
            visited.update(current_ends)
            current_ends = [end for end in dict.fromkeys(next_ends) if end not in visited]
        return None

    @cached_property
    def _first_supply(self) -> str:
        return f"pin {self.chip.supplies[0].pins[0]}"

    @cached_property
    def _highest_supply(self) -> str:
        best = max(self.chip.supplies, key=lambda supply: supply.voltage.nominal)
        return f"pin {best.pins[0]}"

    def find_nominal_v(self, supply_pin: str) -> float:
        """Return the volts of a supply pin: as stated at the pin, else of the supply."""
        if supply_pin in self.stated_dc_v:
            return self.stated_dc_v[supply_pin]
        for supply in self.chip.supplies:
            if supply_pin in (f"pin {number}" for number in supply.pins):
                return supply.voltage.nominal
        return 0.0

    def leads_outside(self, name: str) -> bool:
        """Return whether a node is a dead end of the drawing, where something else goes on.

        Behind a small resistor it reads as the other end does, whatever goes on there.
        """
        parts = self.parts_at.get(name, ())
        if name in self.pin_at or name.startswith("rail") or len(parts) > 1:
            return False
        return not any(
            part.kind == "resistor" and part.quantity and part.quantity.nominal <= _SMALL_OHM
            for part in parts
        )

    def is_open_collector(self, name: str) -> bool:
        """Return whether a pin only pulls down."""
        pin = self.pin_at.get(name)
        return pin is not None and bool(_OPEN_COLLECTOR.search(pin.function))

    def is_pulsed(self, name: str) -> bool:
        """Return whether a point shows pulses, whose mean is no level."""
        waveform = self.expectations[name].waveform if name in self.expectations else None
        return waveform is not None and waveform.kind in _PULSED

    @cached_property
    def fed_outside(self) -> frozenset[str]:
        """Control pins that nothing drawn feeds: their voltage comes from elsewhere in the set."""
        found = []
        for name, pin in self.pin_at.items():
            fed = any(self.carries_dc(part) for part in self.parts_at.get(name, ()))
            if pin.role == "control" and not fed and abs(self.stated_dc_v.get(name, 0.0)) > 0.2:
                found.append(name)
        return frozenset(found)

    @cached_property
    def outside_signals(self) -> tuple[str, ...]:
        """Nodes that a signal comes in at from outside, the nearest to their source first."""
        carried_points = find_carried(self.chip, self._makers)
        unexplained = [
            node.id
            for node in self.chip.application.nodes
            if node.id not in carried_points
            and any(e.waveform is not None for e in node.expectations)
        ]
        entries: list[str] = []
        while unexplained:
            # Nodes that parts join share one way in.
            reached = find_reached(self.chip, [unexplained[0]], through_pins=False)
            entries += self._list_entries([name for name in unexplained if name in reached])
            unexplained = [name for name in unexplained if name not in reached]
        return tuple(dict.fromkeys(entries))

    @cached_property
    def _makers(self) -> list[str]:
        sends = ("output", "oscillator")
        return [name for name, pin in self.pin_at.items() if pin.role in sends]

    def _list_entries(self, joined: list[str]) -> list[str]:
        """Return the dead ends, else bases of followers, else the node that feeds most.

        A transistor's base that joins no other part is such an end.
        """
        names = {node.id: node.name.casefold() for node in self.chip.application.nodes}
        named = [name for name in joined if _FROM_OUTSIDE.search(names.get(name, ""))]
        if named:
            return named  # the sheet says where the signal comes from
        transistors = [p for p in self.chip.application.parts if p.kind == "transistor"]
        emitters = {p.joins[2] for p in transistors if len(p.joins) > 2}
        dead_ends = [name for name in joined if len(self.parts_at.get(name, ())) == 1]
        # At an emitter a signal leaves a follower; it does not come in.
        dead_ends = [name for name in dead_ends if name not in emitters]
        return dead_ends or [max(joined, key=lambda name: len(self.parts_at.get(name, ())))]

    def carries_dc(self, part: Part) -> bool:
        """Return whether a part lets direct current through."""
        return part.kind in _CARRYING_DC

    def list_shunt_capacitors(self, name: str) -> list[Part]:
        """Return the capacitors that join a point to another at rest: ground, a supply, a rail."""
        return [
            part
            for part in self.parts_at.get(name, ())
            if part.kind in CAPACITIVE and any(self._is_held(e) for e in part.joins if e != name)
        ]

    def _is_held(self, end: str) -> bool:
        """Return whether a point is at rest, or a small resistor away from it."""
        if self.is_quiet(end):
            return True
        return end not in self.pin_at and any(
            part.kind == "resistor"
            and part.quantity is not None
            and part.quantity.nominal <= _DAMPING_OHM
            and any(self.is_quiet(e) for e in part.joins)
            for part in self.parts_at.get(end, ())
        )

    def is_quiet(self, end: str) -> bool:
        """Return whether a point is at rest for signals: ground, a rail, a supply."""
        if end == GROUND or end.startswith("rail"):
            return True
        pin = self.pin_at.get(end)
        # A supply that a pump lifts is not at rest.
        return pin is not None and pin.role in ("supply", "ground") and not self.is_pulsed(end)


def name_point(pin: Pin) -> str:
    """Return the name of a pin's point: ``pin 9``."""
    return f"pin {pin.number}"


def find_reached(chip: Chip, ends: Iterable[str], through_pins: bool = False) -> set[str]:
    """Return the points that a signal at these ends reaches: on through nodes, to pins.

    Rails and ground carry no signal on.
    """
    reached, waiting = set(ends), list(ends)
    while waiting:
        end = waiting.pop()
        for part in chip.application.parts:
            for other in part.joins if end in part.joins else ():
                if other in reached or other == GROUND or other.startswith("rail"):
                    continue
                reached.add(other)
                if through_pins or not other.startswith("pin "):
                    waiting.append(other)
    return reached


def find_carried(chip: Chip, ends: Iterable[str]) -> set[str]:
    """Return the points that a signal reaches unchanged: through nothing that switches or winds.

    A transistor carries it from base to emitter; a transformer of a collector not at all.
    """
    reached, waiting = set(ends), list(ends)
    while waiting:
        end = waiting.pop()
        for part in chip.application.parts:
            if end not in part.joins:
                continue
            for other in _list_carried_ends(part, end):
                if other in reached or other == GROUND or other.startswith("rail"):
                    continue
                reached.add(other)
                # Through a pin the signal goes into the chip, and changes.
                if not other.startswith("pin "):
                    waiting.append(other)
    return reached


def _list_carried_ends(part: Part, end: str) -> tuple[str, ...]:
    joins = part.joins
    if part.kind == "transistor":
        return joins[2:3] if len(joins) > 2 and end == joins[0] else ()
    if part.kind == "transformer" and (len(joins) > 3 or any("collector" in e for e in joins)):
        return ()
    return joins
