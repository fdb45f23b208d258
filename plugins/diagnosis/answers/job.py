"""Where a hunt has come to: everything that the faces show, before it is put into words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from ....schema import Chip
from ....schema.reading import Reading
from ...readings.pin_readings import convert_point
from ...readings.reading_syntax import PointReading, Taken
from ...readings.verdict import PinVerdict
from ..deciding.next_step import Step
from ..evidence.observations import Evidence
from ..symptoms.catalogue import Symptom
from ..weighing.known_board import KnownBoard
from ..weighing.posterior import Posterior
from .suspects import Suspect


@dataclass(frozen=True, eq=False)
class Job:
    """Where a hunt has come to."""

    board: KnownBoard
    symptoms: tuple[Symptom, ...]
    told: tuple[str, ...]
    """The symptoms as they were written."""
    readings: tuple[Taken, ...]
    evidence: Evidence
    found: Posterior
    verdicts: tuple[PinVerdict | None, ...]
    """The verdict on each reading; None of a part, and where the catalogue says nothing."""
    suspects: tuple[Suspect, ...]
    steps: tuple[Step, ...]
    """What may be done next, best first."""
    again: tuple[tuple[str, str], ...]
    """(place, quantity) of readings to take again."""
    contradictions: tuple[str, ...]
    cleared: tuple[str, ...]
    conclusion: str
    """What to do now, in a sentence or two."""
    across: Step | None = None
    """The resistance across a part in circuit, set off, that comes before lifting one."""
    after: frozenset[int] = frozenset()
    """Places in ``readings`` of those that were taken after the cure."""

    @property
    def chip(self) -> Chip:
        """The chip that is asked about."""
        return self.board.chip

    @property
    def condition(self) -> str:
        """The state of the set while measuring."""
        return self.board.cloud.condition

    @property
    def judged(self) -> tuple[PinVerdict, ...]:
        """The verdicts there are on readings before the cure, in their order."""
        return tuple(verdict for verdict, _ in self._pair_judged(after=False))

    @property
    def figures(self) -> tuple[Reading, ...]:
        """The readings of ``judged`` as they were read."""
        return tuple(figures for _, figures in self._pair_judged(after=False))

    @property
    def judged_after(self) -> tuple[tuple[PinVerdict, Reading], ...]:
        """The verdicts on readings after the cure, each with the reading as it was read."""
        return tuple(self._pair_judged(after=True))

    def _pair_judged(self, *, after: bool) -> Iterator[tuple[PinVerdict, Reading]]:
        """Yield verdicts and readings of before or after the cure."""
        pairs = zip(self.readings, self.verdicts, strict=True)
        for at, (reading, verdict) in enumerate(pairs):
            is_wanted = (at in self.after) == after
            if is_wanted and verdict is not None and isinstance(reading, PointReading):
                yield verdict, keep_live_figures(reading)

    @property
    def measurements(self) -> tuple[Step, ...]:
        """The measurements to take next, best first; none once the best step is a repair."""
        if not self.steps or not self.steps[0].is_measurement:
            return ()
        return tuple(step for step in self.steps if step.is_measurement)


def keep_live_figures(reading: PointReading) -> Reading:
    """Return the figures of a reading less resistances: they are read with the set off, where the
    job's state of the set says nothing."""
    live = tuple(pair for pair in reading.figures if pair[0] != "resistance")
    return convert_point(replace(reading, figures=live))
