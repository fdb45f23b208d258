"""Minutes of each step at one chip, by the table in ``effort.yaml``."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import Any, Final

import yaml

from ....schema import Chip
from ...cards.cautions import may_probe
from ..weighing.posterior import Thing

_BRIDGED: Final = ("capacitor", "electrolytic capacitor")


@cache
def load_usual_effort() -> dict[str, Any]:
    """Return the table that comes with the package."""
    text = files(__package__).joinpath("effort.yaml").read_text(encoding="utf-8")
    effort: dict[str, Any] = yaml.safe_load(text)
    return effort


class Efforts:
    """Costs of the steps at one chip, and the steps that are never proposed."""

    def __init__(self, chip: Chip) -> None:
        self._table = load_usual_effort()
        self._ends = {part.ref: part.joins for part in chip.application.parts}
        self._kinds: dict[str, str] = {p.ref: p.kind for p in chip.application.parts}
        self._marked = {hazard.at for hazard in chip.hazards if hazard.at is not None}
        self._forbidden = {at for at in self._marked if not may_probe(chip, at)}
        led_to = (ends for ends in self._ends.values() if self._marked & {*ends})
        self._near = self._marked.union(*led_to)

    def estimate_measuring(self, at: str, quantity: str) -> float:
        """Return the minutes for a measurement at a pin or node."""
        reach = self._table["reach"]["pin" if at.startswith("pin ") else "node"]
        minutes = float(self._table["measure"][quantity]) * float(reach)
        return minutes * (float(self._table["near a hazard"]) if at in self._near else 1.0)

    def estimate_crossing(self, ref: str) -> float:
        """Return the minutes for a resistance across a part in circuit, the set off."""
        minutes = float(self._table["measure"]["resistance"]) * float(self._table["reach"]["node"])
        is_near = bool(self._marked & {*self._ends.get(ref, ())})
        return minutes * (float(self._table["near a hazard"]) if is_near else 1.0)

    def may_bridge(self, thing: Thing) -> bool:
        """Return whether a good part held across this one would tell: it is a capacitor, and no
        end of it may not be touched."""
        kind, what = thing
        return kind == "part" and self._kinds.get(what) in _BRIDGED and self.may_lift(what)

    def estimate_repairing(self, thing: Thing, is_bridged: bool = False) -> float:
        """Return the minutes until it is known whether this was the fault: a part is proved, or
        bridged by a good one, a joint soldered again, the chip exchanged."""
        kind, what = thing
        if kind == "part":
            proofs = self._table["prove"]
            minutes = float(proofs.get(self._kinds.get(what, ""), proofs["ordinary"]))
            minutes = float(self._table["bridge"]) if is_bridged else minutes
            near = self._marked & {*self._ends.get(what, ())}
            return minutes * (float(self._table["near a hazard"]) if near else 1.0)
        return float(self._table["repair"][kind])

    @property
    def look_ahead(self) -> float:
        """How much dearer a measurement is thought of when it is not the next one."""
        return float(self._table["look ahead"])

    def compute_impatience(self, taken: int) -> float:
        """Return by how much measurements are dearer after so many that did not settle it."""
        beyond = max(taken - int(self._table["patience"]), 0)
        return 1 + float(self._table["impatience"]) * beyond

    def may_measure(self, at: str) -> bool:
        """Return whether the chip file lets a pin or node be probed."""
        return at not in self._forbidden

    def may_lift(self, ref: str) -> bool:
        """Return whether no end of a part is forbidden."""
        return not self._forbidden & {*self._ends.get(ref, ())}
