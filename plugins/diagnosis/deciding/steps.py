"""What may be done next: a measurement, the proof of a part, a repair."""

from __future__ import annotations

from dataclasses import dataclass

from ..weighing.posterior import Thing


@dataclass(frozen=True)
class Meaning:
    """One outcome of a measurement, and the likeliest suspects then."""

    step: int
    chance: float
    then: tuple[tuple[Thing, float], ...]


@dataclass(frozen=True)
class Step:
    """One thing to do next."""

    kind: str
    """``measure``, ``prove`` (a part, out of circuit) or ``repair``."""
    at: str
    """``pin 7``, a node's id, or a part's reference; empty for a repair."""
    quantity: str
    thing: Thing | None
    minutes: float
    """Its own cost."""
    expected_minutes: float
    """Until the set works, when this is done first."""
    meanings: tuple[Meaning, ...] = ()
    is_bridge: bool = False
    """Of a proof: a good part held across tells it, nothing is lifted."""

    @property
    def is_measurement(self) -> bool:
        """Whether a reading comes of it."""
        return self.kind != "repair"
