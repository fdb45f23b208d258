"""What a job comes to: what to do now, what cannot be told apart, what does not fit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from ...schema import Chip
from .effort import cheapest_first
from .hypotheses import Hypothesis
from .next_probe import Proposal
from .said import measured, said, said_shortly
from .suspects import Observation, Posterior

_ALIKE: Final = 0.8  # of the first one's probability: what comes so near cannot be told apart
_MANY: Final = 3


def conclusion(
    chip: Chip, suspects: Sequence[tuple[Hypothesis, float]], offered: Sequence[Proposal]
) -> str:
    """What to do now, in a sentence; the suspects come likeliest first."""
    if offered:
        return f"Next: {measured(chip, offered[0].point)}."
    first, probability = suspects[0]
    alike = [h for h, share in suspects if share >= _ALIKE * probability and h.sort != "none"]
    if first.sort == "none":
        return "Nothing more separates the suspects: the fault lies elsewhere, or there is none."
    if len(alike) == 1:
        return f"Nothing more separates the suspects: go for {said(chip, first)}."
    alike = sorted(alike[:_MANY], key=lambda hypothesis: cheapest_first(chip, hypothesis))
    names = " and ".join(said(chip, hypothesis) for hypothesis in alike)
    many = "These two" if len(alike) == 2 else "These three"
    every = "both" if len(alike) == 2 else "all of them"
    return (
        f"{many} cannot be told apart from outside: {names}. Replace {every},"
        f" {said_shortly(chip, alike[0])} first."
    )


def resting(chip: Chip, found: Posterior, read: Sequence[Observation]) -> str:
    """The reading to take again before anything is soldered; empty when there is none."""
    points = [measured(chip, o.point) for o in found.rests_on if o in read]
    if not points:
        return ""
    if len(points) == 1:
        return f" All rests on one reading, {points[0]}: take it again."
    return f" All rests on what was read at one place: take again {' and '.join(points)}."


def contradictions(chip: Chip, found: Posterior, read: Sequence[Observation]) -> tuple[str, ...]:
    """Readings to take again; symptoms are not readings."""
    return tuple(
        f"{measured(chip, o.point)}: {o.outcome}. Nothing that is known here explains it with the"
        " rest; take this reading again."
        for o in found.contradictions
        if o in read
    )
