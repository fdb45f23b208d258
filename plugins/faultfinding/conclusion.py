"""What a job comes to: what to do now, what cannot be told apart, what does not fit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from ...schema import Chip
from .effort import cheapest_first
from .hypotheses import Hypothesis
from .mixed_up import MixUp
from .next_probe import Proposal
from .points import Point
from .said import measured, said, said_shortly
from .suspects import Observation, Posterior, replaced

_ALIKE: Final = 0.8  # of the first one's probability: what comes so near cannot be told apart
_MANY: Final = 3
# What is not replaced on the strength of readings here, and what must be seen to first. Common
# practice.
_FIRST: Final = {
    "stage": "The chip comes last: exchange it only when its supplies, its inputs and the parts on"
    " its pins have read right.",
    "supply": "Before its feed is suspected: set off, measure from its pins to ground; a short"
    " there is a part on the rail.",
    "outside": "Look for the signal where it comes from; when it is there, what brings it in is at"
    " fault.",
}


def conclusion(
    chip: Chip,
    suspects: Sequence[tuple[Hypothesis, float]],
    offered: Sequence[Proposal],
    again: Sequence[Point] = (),
) -> str:
    """What to do now, in a sentence; the suspects come likeliest first.

    While readings are to be taken ``again``, nothing is named to be replaced; the chip, a supply
    and what comes from outside never without what must be seen to first.
    """
    told = " and ".join(measured(chip, point) for point in again)
    resting = f" What is most suspect rests on {told}: take it again." if again else ""
    if offered:
        return f"Next: {measured(chip, offered[0].point)}.{resting}"
    first, probability = suspects[0]
    if again:
        return (
            f"Before anything is replaced take again {told}: count the pins from the notch, look at"
            f" the probe's switch. Most is said for {said(chip, first)}."
        )
    likely = [h for h, share in suspects if share >= _ALIKE * probability and h.sort != "none"]
    alike = list({replaced(h): h for h in reversed(likely)}.values())[::-1]  # the chip counts once
    if first.sort == "none":
        return "Nothing more separates the suspects: the fault lies elsewhere, or there is none."
    if len(alike) == 1 and first.sort in _FIRST:
        return f"Most is said for {said(chip, first)}. {_FIRST[first.sort]}"
    if len(alike) == 1:
        return f"Nothing more separates the suspects: go for {said(chip, first)}."
    return _told_of_many(chip, sorted(alike[:_MANY], key=lambda h: cheapest_first(chip, h)))


def _told_of_many(chip: Chip, alike: Sequence[Hypothesis]) -> str:
    """What to do about two or three that cannot be told apart, the cheapest first."""
    names = " and ".join(said(chip, hypothesis) for hypothesis in alike)
    many, every = ("These two", "both") if len(alike) == 2 else ("These three", "all of them")
    told = [f"{many} cannot be told apart from outside: {names}."]
    told += [_FIRST[sort] for sort in dict.fromkeys(h.sort for h in alike) if sort in _FIRST]
    fit = [hypothesis for hypothesis in alike if hypothesis.sort not in ("supply", "outside")]
    if fit == list(alike):
        told.append(f"Replace {every}, {said_shortly(chip, alike[0])} first.")
    elif fit:
        told.append(f"Then go for {' and '.join(said(chip, hypothesis) for hypothesis in fit)}.")
    return " ".join(told)


def to_take_again(
    found: Posterior, read: Sequence[Observation], mix_ups: Sequence[MixUp]
) -> tuple[Point, ...]:
    """The points read that look mixed up, and those without which no suspect would be clear."""
    points = [point for mix_up in mix_ups for point in mix_up.points]
    points += [observation.point for observation in found.rests_on if observation in read]
    return tuple(dict.fromkeys(points))


def contradictions(chip: Chip, found: Posterior, read: Sequence[Observation]) -> tuple[str, ...]:
    """Readings to take again; symptoms are not readings."""
    return tuple(
        f"{measured(chip, o.point)}: {o.outcome}. Nothing that is known here explains it with the"
        " rest; take this reading again."
        for o in found.contradictions
        if o in read
    )
