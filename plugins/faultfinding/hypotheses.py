"""What may be wrong, and how likely each is before anything is measured."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from typing import Any, Final

import yaml

from ...schema import Chip
from ...schema.note import Note
from ..notes.observed import settled
from .failures import FaultDictionary
from .outside import outside_nodes


@dataclass(frozen=True)
class Hypothesis:
    """One thing that may be wrong."""

    sort: str
    """``part``, ``stage``, ``supply``, ``outside`` or ``none``."""
    what: str
    """Reference of the part, id of the stage, name of the supply, id of the node."""
    failure: str
    """How: the part's mode, ``dead``, ``weak``, ``missing``, ``low``."""
    odds: float
    """Relative odds before anything is measured."""

    def __str__(self) -> str:
        return f"{self.what} {self.failure}".strip()


NONE: Final = "none of these"


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

    The odds of a part are shared among its ways to fail.
    """
    known = odds or usual_odds()
    found: list[Hypothesis] = []
    by_part: dict[str, list[tuple[str, float]]] = {}
    kinds = {failure.ref: failure.kind for failure in dictionary.failed}
    for failure in dictionary.failed:
        weight = float(known["modes"].get(failure.mode.split(",")[0], 1.0))
        by_part.setdefault(failure.ref, []).append((failure.mode, weight))
    for ref, modes in by_part.items():
        whole = float(known["parts"].get(kinds[ref], 1.0))
        total = sum(weight for _, weight in modes)
        found += [Hypothesis("part", ref, mode, whole * w / total) for mode, w in modes]
    for block in chip.blocks:
        found.append(Hypothesis("stage", block.id, "dead", float(known["stage dead"])))
        found.append(Hypothesis("stage", block.id, "weak", float(known["stage weak"])))
    for supply in chip.supplies:
        found.append(Hypothesis("supply", supply.name, "missing", float(known["supply missing"])))
        found.append(Hypothesis("supply", supply.name, "low", float(known["supply low"])))
    for node in outside_nodes(chip):
        found.append(Hypothesis("outside", node, "missing", float(known["outside missing"])))
    found.append(Hypothesis("none", NONE, "", float(known[NONE])))
    return tuple(found)


def seen_before(
    among: tuple[Hypothesis, ...], notes: Iterable[Note], odds: dict[str, Any] | None = None
) -> tuple[Hypothesis, ...]:
    """The hypotheses with the odds raised of parts that notes say have failed before.

    The rule: each set in which a part had failed adds ``seen before`` to its odds, in proportion,
    up to ``most seen before``. A note in conflict, or withdrawn, says nothing.
    """
    known = odds or usual_odds()
    sets: dict[str, int] = {}
    for note in settled(notes):
        if note.kind == "fault and remedy" and note.part is not None:
            sets[note.part] = sets.get(note.part, 0) + note.sets
    each, most = float(known["seen before"]), float(known["most seen before"])
    return tuple(
        replace(h, odds=h.odds * min(1 + each * sets[h.what], most))
        if h.sort == "part" and h.what in sets
        else h
        for h in among
    )
