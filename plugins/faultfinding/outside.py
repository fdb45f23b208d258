"""Where signals come in from outside, and how far they get through the parts."""

from __future__ import annotations

from collections.abc import Iterable, Set

from ...schema import Chip


def outside_nodes(chip: Chip) -> list[str]:
    """Nodes that carry a signal in from outside: known to show one, not made by an output, and
    not on the way of another such node to its pin."""
    nodes = chip.application.nodes
    outputs = {f"pin {pin.number}" for pin in chip.pins if pin.role in ("output", "oscillator")}
    made = reached(chip, outputs)
    found = [
        node.id
        for node in nodes
        if node.id not in made and any(e.waveform is not None for e in node.expectations)
    ]
    return [name for name in found if not _on_the_way(chip, name, found)]


def _on_the_way(chip: Chip, name: str, among: Iterable[str]) -> bool:
    """Whether another of the nodes lies on the far side: more parts away from any pin."""
    far = _parts_away(chip, name)
    around = reached(chip, {name})
    return any(other in around and _parts_away(chip, other) > far for other in among)


def _parts_away(chip: Chip, name: str) -> int:
    """How many parts lie between a node and the nearest pin."""
    away, seen = 0, {name}
    while seen and not any(end.startswith("pin ") for end in seen):
        around = {
            e for part in chip.application.parts if seen & set(part.joins) for e in part.joins
        }
        if around - {"ground"} <= seen:
            break
        seen |= around - {"ground"}
        away += 1
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
