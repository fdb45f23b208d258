"""What may be wrong, and how likely each is before anything is measured."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from typing import Any, Final

import yaml

from ...schema import Chip
from ...schema.note import Note
from ..readings.observed_range import select_settled_notes
from .failures import JOINT_OPEN, PIN_JOINT, FaultDictionary
from .outside import outside_nodes


@dataclass(frozen=True)
class Hypothesis:
    """One thing that may be wrong."""

    sort: str
    """``part``, ``joint`` (of a pin), ``stage``, ``supply``, ``outside`` or ``none``."""
    what: str
    """Reference of the part, ``pin 9``, id of the stage, name of the supply, id of the node."""
    failure: str
    """How: the part's mode, ``joint open``, ``dead``, ``weak``, ``missing``, ``low``, ``noisy``."""
    odds: float
    """Relative odds before anything is measured."""

    def __str__(self) -> str:
        return f"{self.what} {self.failure}".strip()


NONE: Final = "none of these"
WITHOUT_ELEMENTS: Final[dict[str, tuple[str, ...]]] = {
    "transistor": ("open", "shorted", "leaky"),
    "transformer": ("open", "shorted turns"),
    "delay line": ("dead",),
    "connector": ("open",),
}
"""How parts fail that are not in the linear network, by their kind."""


@cache
def usual_odds() -> dict[str, Any]:
    """The odds that come with the package."""
    text = files(__package__).joinpath("odds.yaml").read_text(encoding="utf-8")
    odds: dict[str, Any] = yaml.safe_load(text)
    return odds


def hypotheses(
    chip: Chip, dictionary: FaultDictionary, odds: dict[str, Any] | None = None
) -> tuple[Hypothesis, ...]:
    """Everything that may be wrong with a chip and what is around it, "none of these" last.

    The odds of a part are shared among its ways to fail. Raises KeyError for odds that are not
    whole.
    """
    known = odds or usual_odds()
    found = list(_parts(chip, dictionary, known))
    for pin in _jointed(chip, dictionary):
        found.append(Hypothesis("joint", pin, JOINT_OPEN, float(known["pin joint open"])))
    for block in chip.blocks:
        for failure in ("dead", "weak"):
            found.append(Hypothesis("stage", block.id, failure, float(known[f"stage {failure}"])))
    for supply in chip.supplies:
        for failure in ("missing", "low", "noisy"):
            odds_of = float(known[f"supply {failure}"])
            found.append(Hypothesis("supply", supply.name, failure, odds_of))
    for node in outside_nodes(chip):
        found.append(Hypothesis("outside", node, "missing", float(known["outside missing"])))
    found.append(Hypothesis("none", NONE, "", float(known[NONE])))
    return tuple(found)


def _parts(chip: Chip, dictionary: FaultDictionary, known: dict[str, Any]) -> Iterator[Hypothesis]:
    """Every way that each part fails, in the circuit or outside of it."""
    modes: dict[str, list[str]] = {}
    for failure in dictionary.failed:
        if failure.kind != PIN_JOINT:
            modes.setdefault(failure.ref, []).append(failure.mode)
    for part in chip.application.parts:
        if part.ref not in modes and part.kind in WITHOUT_ELEMENTS:
            modes[part.ref] = [*WITHOUT_ELEMENTS[part.kind], JOINT_OPEN]
    for part in chip.application.parts:
        ways = modes.get(part.ref, [])
        weights = [float(known["modes"].get(mode.split(",")[0], 1.0)) for mode in ways]
        whole = float(known["parts"].get(part.kind, 1.0))
        for mode, weight in zip(ways, weights, strict=True):
            yield Hypothesis("part", part.ref, mode, whole * weight / sum(weights))


def _jointed(chip: Chip, dictionary: FaultDictionary) -> Iterator[str]:
    """The pins whose joint matters: to the parts around, or as a ground."""
    yield from (failure.ref for failure in dictionary.failed if failure.kind == PIN_JOINT)
    yield from (f"pin {pin.number}" for pin in chip.pins if pin.role == "ground")


def seen_before(
    among: tuple[Hypothesis, ...], notes: Iterable[Note], odds: dict[str, Any] | None = None
) -> tuple[Hypothesis, ...]:
    """The hypotheses with the odds raised of parts that notes say have failed before.

    The rule: each set in which a part had failed adds ``seen before`` to its odds, in proportion,
    up to ``most seen before``. A note in conflict, or withdrawn, says nothing.
    """
    known = odds or usual_odds()
    sets: dict[str, int] = {}
    for note in select_settled_notes(notes):
        if note.kind == "fault and remedy" and note.part is not None:
            sets[note.part] = sets.get(note.part, 0) + note.sets
    each, most = float(known["seen before"]), float(known["most seen before"])
    return tuple(
        replace(h, odds=h.odds * min(1 + each * sets[h.what], most))
        if h.sort == "part" and h.what in sets
        else h
        for h in among
    )
