"""What can be measured, and the ways it may come out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from ..readings.part_reading import PART_OUTCOMES

OUTCOMES: Final = (
    "as expected",
    "too low",
    "too high",
    "missing",
    "off frequency",
    "unstable",
    "distorted",
)
"""How a measurement on the board may come out; what is right comes first."""


OUT_OF_CIRCUIT: Final = "out of circuit"


@dataclass(frozen=True)
class Point:
    """Something that can be measured: DC, signal or frequency at a pin or a node; with the set
    off, resistance there or between a part's leads; a part out of circuit."""

    at: str
    """``pin 9``, a node's id, or a part's reference."""
    quantity: str
    """``dc``, ``vpp``, ``frequency``, ``ripple``, ``resistance`` or ``out of circuit``."""

    @property
    def outcomes(self) -> tuple[str, ...]:
        """The ways it may come out."""
        return PART_OUTCOMES if self.quantity == OUT_OF_CIRCUIT else OUTCOMES

    @property
    def is_passive(self) -> bool:
        """Whether the set must be off."""
        return self.quantity in ("resistance", OUT_OF_CIRCUIT)


Upset = dict[Point, dict[str, float]]
"""For a point that is not as it should be: shares of the outcomes."""
