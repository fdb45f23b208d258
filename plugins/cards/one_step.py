"""One step along the signal from a pin: part, node, part, pin, each with its expected value.

A part one hop away, such as the capacitor at the far side of a crystal, is thus on the card.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final, NamedTuple

from ...schema.chip import Chip
from ...schema.chips.application import Node, Part
from ...schema.chips.data import Pin
from ...schema.chips.expectation import Expectation
from ...schema.chips.lookup import has_picture
from ...schema.chips.usual_faults import USUAL_FAULTS, describe_endpoint
from ...schema.model import pin_number
from ...schema.quantities import print_value

_MOST_CHAINS: Final = 3
_MOST_HOPS: Final = 2  # parts between the pin and the end of a chain
_RAIL: Final = "rail"
_DIRECTED_OUT: Final = ("output", "bus", "oscillator")


class Hanging(NamedTuple):
    """A part from a point to ground or a supply."""

    part: Part
    to: str

    def __str__(self) -> str:
        return f"{describe_part(self.part)} to {self.to}"


class Stop(NamedTuple):
    """A point of a chain: a pin, a node, or a stage inside the chip."""

    kind: str
    """``pin``, ``node`` or ``stage``."""
    name: str
    pin: int | None = None
    should_be: tuple[str, ...] = ()
    """DC voltage and signal in the condition shown."""
    hanging: tuple[Hanging, ...] = ()
    """Parts from here to ground or to a supply."""
    is_own: bool = False
    """Whether it is the pin of the card."""

    def document(self) -> dict[str, Any]:
        """Return the stop as plain data."""
        pin = {} if self.pin is None else {"pin": self.pin}
        return {
            "kind": self.kind,
            "name": self.name,
            **pin,
            "should_be": list(self.should_be),
            "hanging": [hung.part.ref for hung in self.hanging],
        }


class Chain(NamedTuple):
    """Stops in the direction of the signal, with the part between each two; None is inside."""

    stops: tuple[Stop, ...]
    through: tuple[Part | None, ...]
    """One fewer than the stops."""

    @property
    def parts(self) -> tuple[Part, ...]:
        """Every part of the chain, in its order."""
        parts: list[Part] = []
        for stop, part in zip(self.stops, (*self.through, None), strict=True):
            parts += [*(hung.part for hung in stop.hanging), *([part] if part is not None else [])]
        return tuple(parts)

    def document(self) -> list[dict[str, Any]]:
        """Return the stops as plain data, each with the part that leads on from it."""
        refs = [None if part is None else part.ref for part in (*self.through, None)]
        return [
            stop.document() | ({} if ref is None else {"through": ref})
            for stop, ref in zip(self.stops, refs, strict=True)
        ]

    def __str__(self) -> str:
        words = []
        for stop, part in zip(self.stops, (*self.through, None), strict=True):
            stop_words = [*stop.should_be, *map(str, stop.hanging)]
            words.append(f"{stop.name} ({', '.join(stop_words)})" if stop_words else stop.name)
            words += [describe_part(part)] if part is not None else []
        return " – ".join(words)


def describe_part(part: Part) -> str:
    """Return a part and its value: ``C712 1 µF``."""
    return f"{part.ref} {part.value}" if part.value else part.ref


def describe_on_chain(part: Part) -> str:
    """Return the purpose of a part and its usual faults, in a sentence or two."""
    purpose = f"{part.purpose}. " if part.purpose else ""
    fails = USUAL_FAULTS[part.kind]
    return f"{purpose}Usual: {fails}."


def trace_chains(chip: Chip, pin: Pin, condition: str | None) -> tuple[Chain, ...]:
    """Return the chains that lead to a pin, or away from an output; at most three.

    ``condition`` is the state of the set in which the stops give their expected values.
    """
    walker = _Walker(chip, condition)
    end = name_own_end(pin)
    own_stop = walker.stop(end, is_own=True)
    taking_stages = [block.name for block in chip.blocks if end in (*block.inputs, *block.needs)]
    driving_stages = [block.name for block in chip.blocks if end in block.outputs]
    inside = _describe_stages(driving_stages or taking_stages)
    # The signal leaves by an output, and by any pin that stages only drive.
    leads_out = pin.role in _DIRECTED_OUT or (bool(driving_stages) and not taking_stages)
    branches = list(walker.walk(end, (), _MOST_HOPS))[:_MOST_CHAINS]
    chains = [_join(own_stop, stops, parts, inside, leads_out) for stops, parts in branches]
    if not chains and (inside or own_stop.hanging):
        chains = [_join(own_stop, (), (), inside, leads_out)]
    return tuple(chains)


def name_own_end(pin: Pin) -> str:
    """Return the pin as parts name it: ``pin 13``."""
    return f"pin {pin.number}"


def _join(
    own: Stop,
    stops: tuple[Stop, ...],
    parts: tuple[Part, ...],
    inside: Stop | None,
    leads_out: bool,
) -> Chain:
    """Return a chain from stage to far end, or from far end to stage."""
    stage, gap = ((inside,), (None,)) if inside is not None else ((), ())
    if leads_out:
        return Chain((*stage, own, *stops), (*gap, *parts))
    return Chain((*stops[::-1], own, *stage), (*parts[::-1], *gap))


def _describe_stages(names: list[str]) -> Stop | None:
    if not names:
        return None
    more = f" and {len(names) - 1} more" if len(names) > 1 else ""
    return Stop("stage", f"{names[0]}{more}")


def describe_expected(expectation: Expectation | None) -> tuple[str, ...]:
    """Return DC voltage and signal of an expectation in words: ``3.4 V``, ``1 Vpp``."""
    if expectation is None:
        return ()
    dc = [] if expectation.dc is None else [print_value(expectation.dc.nominal, "V")]
    waveform = expectation.waveform
    if waveform is None or not has_picture(expectation):
        return tuple(dc)
    return (*dc, print_value(waveform.vpp_v, "Vpp"))


class _Walker:
    """Walks from part to part over the application, stopping at pins, supplies and ground."""

    def __init__(self, chip: Chip, condition: str | None) -> None:
        self.chip = chip
        self.condition = condition

    def stop(self, end: str, *, is_own: bool = False) -> Stop:
        """Return an end of parts as a stop."""
        number = pin_number(end)
        place = self.chip.pin(number) if number is not None else self._node(end)
        expectations = place.expectations if place is not None else ()
        shown = next((e for e in expectations if e.condition == self.condition), None)
        name = describe_endpoint(self.chip, end)
        return Stop(
            kind="node" if number is None else "pin",
            name=f"{name[:1].upper()}{name[1:]}",
            pin=number,
            should_be=describe_expected(shown),
            hanging=tuple(self._yield_hanging(end)),
            is_own=is_own,
        )

    def _yield_hanging(self, end: str) -> Iterator[Hanging]:
        for part in self.chip.application.parts:
            others = [other for other in part.joins if other != end]
            if end in part.joins and others and all(map(self._is_still, others)):
                yield Hanging(part, describe_endpoint(self.chip, others[0]))

    def _node(self, end: str) -> Node | None:
        return next((node for node in self.chip.application.nodes if node.id == end), None)

    def _is_still(self, end: str) -> bool:
        """Whether an end carries no signal: ground, a supply pin, a rail."""
        number = pin_number(end)
        pin = self.chip.pin(number) if number is not None else None
        is_supply = pin is not None and pin.role in ("supply", "ground")
        return end == "ground" or is_supply or end.startswith(_RAIL)

    def walk(
        self, end: str, parts: tuple[Part, ...], hops: int
    ) -> Iterator[tuple[tuple[Stop, ...], tuple[Part, ...]]]:
        """Yield the stops and parts of each way from an end, nearest first."""
        walked_refs = {part.ref for part in parts}
        for part in self.chip.application.parts:
            if end not in part.joins or part.ref in walked_refs:
                continue
            for far_end in part.joins:
                if far_end == end or self._is_still(far_end):
                    continue
                stop = self.stop(far_end)
                # A pin ends the way: it has a card of its own.
                further = []
                if stop.kind == "node" and hops > 1:
                    further = list(self.walk(far_end, (*parts, part), hops - 1))
                if further:
                    further_stops, further_parts = further[0]
                    yield (stop, *further_stops), (part, *further_parts)
                else:
                    yield (stop,), (part,)


def describe_meeting(chip: Chip, node: str) -> str:
    """Return the parts that meet at a node, by which it is found on the board: ``C406 and X401``.

    Empty where none does.
    """
    refs = [part.ref for part in chip.application.parts if node in part.joins]
    return " and ".join(filter(None, [", ".join(refs[:-1]), *refs[-1:]]))


def find_pin_before_node(chip: Chip, node: str) -> tuple[Part, int] | None:
    """Return a part that leads from a pin to a node, and the pin's number: the way to the node on
    the board. None where no part does."""
    for part in chip.application.parts:
        if node in part.joins:
            numbers = [number for end in part.joins if (number := pin_number(end)) is not None]
            if numbers:
                return part, numbers[0]
    return None
