"""Hunts on simulated boards, followed to their end.

A hunt follows the proposals; a reading that looks mixed up is taken again at once, and when
nothing more is proposed, what is contradicted or what all rests on is taken again as well: each
point once. So the page and the terminal say.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final

from pinfolio.plugins.faultfinding.hypotheses import usual_odds
from pinfolio.plugins.faultfinding.mixed_up import MixUp, doubted, mixed_up
from pinfolio.plugins.faultfinding.next_probe import proposals
from pinfolio.plugins.faultfinding.points import Point
from pinfolio.plugins.faultfinding.suspects import Posterior, posterior, replaced
from simulated_board import Board
from simulated_readings import (
    Seen,
    Slip,
    Technician,
    any_outcome,
    cannot_tell,
    nth,
    swapped,
    times,
)

MOST_READINGS: Final = 30
SURE: Final = 0.9
SLIPS: Final[dict[str, Slip]] = {
    "one wrong reading": nth(2, any_outcome),
    "swapped pins": swapped,
    "probe left at x10": times(0.1),
    "x1 instead of x10": times(10.0),
    "one reading missing": nth(2, cannot_tell),
}

Chooser = Callable[["Hunt"], Point | None]


@dataclass(eq=False)
class Hunt:
    """A hunt: the symptom, what was measured, and what is left of the suspects."""

    board: Board
    choose: Chooser
    slip: Slip | None = None
    takes_again: bool = True
    seen: list[Seen] = field(default_factory=list)
    again: list[Point] = field(default_factory=list)
    """What was taken again."""
    among_three_after: int = MOST_READINGS
    """Readings until the true fault was among the first three."""
    said: bool = False
    """A mix-up, or a contradiction, was said on the way."""

    def __post_init__(self) -> None:
        self.technician = Technician(self.board, self.slip)
        self.complaint = self.technician.complaint()
        self._weigh()

    def follow(self) -> Hunt:
        """To its end."""
        while len(self.technician.taken) < MOST_READINGS:
            doubts = self.doubts if self.takes_again else []
            if self.mix_ups and doubts:
                self._take(doubts[0], again=True)
            elif (point := self.choose(self)) is not None:
                self._take(point)
            elif doubts:
                self._take(doubts[0], again=True)
            else:
                break
        return self

    @property
    def doubts(self) -> list[Point]:
        """The points to be taken again, mix-ups first."""
        points = [point for mix_up in self.mix_ups for point in mix_up.points]
        told = (*self.found.contradictions, *self.found.rests_on)
        points += [o.point for o in told if o.mistaken != 0]
        return [point for point in points if point not in self.again]

    def _take(self, point: Point, again: bool = False) -> None:
        if again:
            self.again.append(point)
        seen = self.technician.measure(point, carefully=again)
        if seen is not None:
            self.seen.append(seen)
        self._weigh()

    def _weigh(self) -> None:
        bench = self.board.bench
        judged = [seen.judged for seen in self.seen if seen.judged is not None]
        self.mix_ups: tuple[MixUp, ...] = mixed_up(bench.chip, judged)
        told = doubted(
            [seen.observation for seen in self.seen], self.mix_ups, usual_odds()["mixed up"]
        )
        read = {observation.point for observation in told}
        complaint = [o for o in self.complaint if o.mistaken == 0 or o.point not in read]
        self.found: Posterior = posterior(bench.predicted, [*complaint, *told])
        self.said = self.said or bool(self.mix_ups or self.found.contradictions)
        if self.rank <= 3:
            self.among_three_after = min(self.among_three_after, len(self.technician.taken))

    @property
    def suspects(self) -> list[tuple[tuple[str, str], float]]:
        """What may have to be replaced, the ways of each together, the likeliest first."""
        return sorted(self.found.shares.items(), key=lambda pair: -pair[1])

    @property
    def rank(self) -> int:
        """Of the true fault."""
        return 1 + [thing for thing, _ in self.suspects].index(replaced(self.board.fault))

    @property
    def is_sure(self) -> bool:
        """One suspect is named for sure: above 0.9, and nothing is to be taken again first. The
        chip, a supply and a signal from outside never are: what must be seen to before they are
        blamed is said instead."""
        told = self.found.contradictions or self.found.rests_on or self.mix_ups
        first, share = self.suspects[0]
        return share > SURE and not told and first[0] in ("part", "joint")

    @property
    def is_surely_wrong(self) -> bool:
        return self.is_sure and self.rank > 1


def as_proposed(hunt: Hunt) -> Point | None:
    tried = set(hunt.technician.taken)
    offered = proposals(hunt.board.bench.chip, hunt.found, most=1, tried=tried)
    return offered[0].point if offered else None


def in_turn(points: Sequence[Point]) -> Chooser:
    return lambda hunt: next((p for p in points if p not in hunt.technician.taken), None)
