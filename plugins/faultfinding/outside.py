"""Where signals come in from outside, and how far they get through the parts."""

from __future__ import annotations

from collections.abc import Set

from ...schema import Chip


def outside_nodes(chip: Chip) -> list[str]:
    """Nodes that a signal comes in at from outside, one for each signal.

    Such a node is known to show a signal, and no output makes it. Of those that the parts join
    together, it is the one at a dead end (all there is about it lies behind one part); where
    there is none, the one that is nearest to the pins it feeds, taken together.
    """
    outputs = {f"pin {pin.number}" for pin in chip.pins if pin.role in ("output", "oscillator")}
    made = reached(chip, outputs)
    shown = [
        node.id
        for node in chip.application.nodes
        if node.id not in made and any(e.waveform is not None for e in node.expectations)
    ]
    found: list[str] = []
    while shown:
        around = reached(chip, {shown[0]})
        found += _where_it_comes_in(chip, [name for name in shown if name in around])
        shown = [name for name in shown if name not in around]
    return found


def _where_it_comes_in(chip: Chip, joined: list[str]) -> list[str]:
    """Of nodes that the parts join: the dead ends, else the middle of the pins they feed."""
    ends = [name for name in joined if len(_neighbours(chip, name)) == 1]
    return ends or [min(joined, key=lambda name: sum(_parts_away(chip, name).values()))]


def _neighbours(chip: Chip, name: str) -> set[str]:
    """The ends that one part leads to, rails and ground left out."""
    ends = {e for part in chip.application.parts if name in part.joins for e in part.joins}
    return {end for end in ends - {name, "ground"} if not end.startswith("rail")}


def _parts_away(chip: Chip, name: str) -> dict[str, int]:
    """How many parts lie between a node and each pin that it reaches."""
    away: dict[str, int] = {}
    seen, edge, steps = {name}, {name}, 0
    while edge:
        steps += 1
        edge = set().union(*(_neighbours(chip, end) for end in edge)) - seen
        seen |= edge
        away |= {end: steps for end in edge if end.startswith("pin ")}
        edge = {end for end in edge if not end.startswith("pin ")}
    return away


def reached(chip: Chip, ends: Set[str]) -> set[str]:
    """What a signal at these ends comes to through the parts: on through nodes, up to pins.

    Rails and ground carry no signal on.
    """
    seen, todo = set(ends), list(ends)
    while todo:
        end = todo.pop()
        for part in chip.application.parts:
            for other in part.joins if end in part.joins else ():
                if other in seen or other == "ground" or other.startswith("rail"):
                    continue
                seen.add(other)
                if not other.startswith("pin "):
                    todo.append(other)
    return seen
