"""What a measurement costs, by the table in ``effort.yaml``."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import Any

import yaml

from ...schema import Chip
from ..cards.cautions import may_probe
from .hypotheses import Hypothesis
from .points import Point


@cache
def usual_effort() -> dict[str, Any]:
    """The table that comes with the package."""
    text = files(__package__).joinpath("effort.yaml").read_text(encoding="utf-8")
    effort: dict[str, Any] = yaml.safe_load(text)
    return effort


def effort_of(chip: Chip, point: Point, is_off: bool = False) -> float:
    """The effort of a measurement, when the set is off or on now."""
    table = usual_effort()
    effort = float(table["measure"][point.quantity]) * float(table["reach"][_sort(chip, point.at)])
    if _near_a_hazard(chip, point):
        effort *= float(table["near a hazard"])
    return effort + (float(table["switch"]) if point.is_passive != is_off else 0.0)


def may_measure(chip: Chip, point: Point) -> bool:
    """False where the chip file forbids the point, or an end of the part."""
    return all(may_probe(chip, end) for end in (point.at, *_ends(chip, point.at)))


def cheapest_first(chip: Chip, suspect: Hypothesis) -> int:
    """The place of a suspect in the order that parts are tried in; the chip comes last."""
    order = usual_effort()["cheapest first"]
    if suspect.sort == "joint" or suspect.failure.startswith("joint open"):
        return 0
    kinds = {part.ref: part.kind for part in chip.application.parts}
    kind = kinds.get(suspect.what)
    return order.index(kind) if kind in order else len(order)


def _sort(chip: Chip, at: str) -> str:
    if at.startswith("pin "):
        return "pin"
    return "part" if _ends(chip, at) else "node"


def _ends(chip: Chip, ref: str) -> tuple[str, ...]:
    """The ends of the part with this reference; none for a pin or a node."""
    return next((part.joins for part in chip.application.parts if part.ref == ref), ())


def _near_a_hazard(chip: Chip, point: Point) -> bool:
    """Whether the point, an end of its part, or what one part leads to, is marked as hazardous.

    With the set off only what holds its charge still hurts; that is said everywhere.
    """
    marked = {hazard.at for hazard in chip.hazards if hazard.at is not None}
    here = {point.at, *_ends(chip, point.at)}
    if point.is_passive:
        return bool(marked & here)
    beside = {
        end for part in chip.application.parts if here & set(part.joins) for end in part.joins
    }
    return bool(marked & (here | beside))
