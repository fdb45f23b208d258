"""Try substitutes in the place of one part: the answer that the command prints."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from ....schema import Chip, Part
from ..weighing.known_board import find_working_condition
from .candidates import combine_box, find_replaceable_part, read_candidate
from .verdicts import DO_NOT, Verdict, judge_candidates


@dataclass(frozen=True)
class Substitution:
    """The verdicts on the substitutes for one part, best first."""

    chip: Chip
    part: Part
    verdicts: tuple[Verdict, ...]

    @property
    def none_will_do(self) -> bool:
        """Whether every verdict is ``do not``."""
        return all(verdict.verdict == DO_NOT for verdict in self.verdicts)

    def document(self) -> dict[str, Any]:
        """Return the verdicts as plain data."""
        return {
            "part": self.chip.part,
            "ref": self.part.ref,
            "value": self.part.value,
            "candidates": [verdict.document() for verdict in self.verdicts],
        }


def try_substitutes(
    chip: Chip, ref: str, values: Iterable[str], box: Iterable[str] = ()
) -> Substitution:
    """Return the verdicts on single substitutes, and on a box alone and two together.

    Raises CannotSubstitute for an unknown part, or a value that cannot be read.
    """
    part = find_replaceable_part(chip, ref)
    candidates = [*(read_candidate(text, part) for text in values), *combine_box(box, part)]
    verdicts = judge_candidates(chip, part, candidates, find_working_condition(chip))
    return Substitution(chip, part, tuple(verdicts))
