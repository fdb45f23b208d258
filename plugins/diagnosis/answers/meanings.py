"""The meaning of each possible answer to a measurement: in words, with its chances."""

from __future__ import annotations

from typing import Any, Final

from ....schema import Chip
from ..deciding.next_step import Meaning, Step
from ..deciding.outcomes import NOTHING, RIGHT
from ..evidence.part_tests import find_outcome_chance
from ..weighing.posterior import Posterior, Thing
from .wording import describe_suspect, describe_thing

_SLIGHT: Final = 1  # a step from right
_LEAST_CHANCE: Final = 1e-9  # against division by nothing


def name_step(step: int) -> str:
    """Return a technician's name for a step: ``as expected``, ``too low``, ``much too high``."""
    if step == NOTHING:
        return "missing"
    off = step - RIGHT
    if off == 0:
        return "as expected"
    side = "low" if off < 0 else "high"
    if abs(off) == _SLIGHT:
        return f"a little {side}"
    return f"too {side}" if abs(off) == _SLIGHT + 1 else f"much too {side}"


def list_outcomes(chip: Chip, posterior: Posterior, step: Step) -> list[dict[str, Any]]:
    """Return the possible answers to a measurement, likeliest first, each with its meaning."""
    if step.kind == "prove":
        return _list_proof_outcomes(chip, posterior, step)
    meanings_by_name: dict[str, list[Meaning]] = {}
    for meaning in step.meanings:
        name = name_step(meaning.step)
        # Nobody calls a frequency much too high: it is right, off, or not there.
        if step.quantity == "frequency" and name not in ("as expected", "missing"):
            name = "off frequency"
        meanings_by_name.setdefault(name, []).append(meaning)
    return [
        {
            "outcome": name,
            "chance": sum(meaning.chance for meaning in meanings),
            "then": _rank_after(chip, posterior, meanings),
        }
        for name, meanings in meanings_by_name.items()
    ]


def _rank_after(chip: Chip, posterior: Posterior, meanings: list[Meaning]) -> list[dict[str, Any]]:
    """Return the likeliest things after one of some answers."""
    total_chance = sum(meaning.chance for meaning in meanings)
    shares: dict[Thing, float] = {}
    for meaning in meanings:
        for thing, share in meaning.then:
            shares[thing] = shares.get(thing, 0.0) + share * meaning.chance / total_chance
    leading = sorted(shares.items(), key=lambda pair: -pair[1])[:2]
    return [_describe_thing_left(chip, posterior, thing, share) for thing, share in leading]


def _describe_thing_left(
    chip: Chip, posterior: Posterior, thing: Thing, share: float
) -> dict[str, Any]:
    """Return a suspect that an answer would leave, with its probability."""
    way = posterior.list_ways(thing)[0][0]
    return {
        "what": way.what,
        "kind": way.kind,
        "failure": way.failure,
        "said": describe_suspect(chip, way),
        "thing": describe_thing(chip, *thing),
        "probability": share,
    }


def _list_proof_outcomes(chip: Chip, posterior: Posterior, step: Step) -> list[dict[str, Any]]:
    """Return the possible results of a part measured out of circuit: good, or bad."""
    thing = ("part", step.at)
    ways = posterior.list_ways(thing)
    part_chance = sum(chance for _, chance in ways)
    # A bad part may be measured good: a fault that shows only in the circuit, or a slip.
    missed_chance = sum(chance * find_outcome_chance("good", way.failure) for way, chance in ways)
    good_chance = (1 - part_chance) * find_outcome_chance("good", None) + missed_chance
    others_chance = max(1 - part_chance, _LEAST_CHANCE)
    next_suspects = [pair for pair in posterior.ranked if pair[0] != thing][:1]
    bad = {
        "outcome": "bad",
        "chance": 1 - good_chance,
        "then": [_describe_thing_left(chip, posterior, thing, 1.0)],
    }
    good = {
        "outcome": "good",
        "chance": good_chance,
        "then": [
            _describe_thing_left(chip, posterior, other, chance / others_chance)
            for other, chance in next_suspects
        ],
    }
    return sorted([bad, good], key=lambda outcome: -float(outcome["chance"]))
