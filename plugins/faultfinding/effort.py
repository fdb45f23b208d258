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


class Efforts:
    """What each measurement at one chip costs, and which are never made."""

    def __init__(self, chip: Chip) -> None:
        self._table = usual_effort()
        self._ends = {part.ref: part.joins for part in chip.application.parts}
        self._marked = {hazard.at for hazard in chip.hazards if hazard.at is not None}
        self._forbidden = {at for at in self._marked if not may_probe(chip, at)}
        led_to = (ends for ends in self._ends.values() if self._marked & {*ends})
        self._near = self._marked.union(*led_to)

    def of(self, point: Point, is_off: bool = False) -> float:
        """The effort of a measurement, when the set is off or on now."""
        table, reach = self._table, self._table["reach"][self._sort(point.at)]
        effort = float(table["measure"][point.quantity]) * float(reach)
        if self._near_a_hazard(point):
            effort *= float(table["near a hazard"])
        return effort + (float(table["switch"]) if point.is_passive != is_off else 0.0)

    def may_measure(self, point: Point) -> bool:
        """False where the chip file forbids the point, or an end of the part."""
        return not self._forbidden & self._here(point)

    def _here(self, point: Point) -> set[str]:
        """The point, and the ends of the part where it is one."""
        return {point.at, *self._ends.get(point.at, ())}

    def _sort(self, at: str) -> str:
        if at.startswith("pin "):
            return "pin"
        return "part" if at in self._ends else "node"

    def _near_a_hazard(self, point: Point) -> bool:
        """Whether the point, an end of its part, or what one part leads to, is marked as
        hazardous.

        With the set off only what holds its charge still hurts; that is said everywhere.
        """
        return bool((self._marked if point.is_passive else self._near) & self._here(point))


def cheapest_first(chip: Chip, suspect: Hypothesis) -> int:
    """The place of a suspect in the order that parts are tried in; the chip comes last."""
    order = usual_effort()["cheapest first"]
    if suspect.sort == "joint" or suspect.failure.startswith("joint open"):
        return 0
    kinds = {part.ref: part.kind for part in chip.application.parts}
    kind = kinds.get(suspect.what)
    return order.index(kind) if kind in order else len(order)
