"""What the chip would read if a part had failed: the fault dictionary, in words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from ...schema import Chip, print_value
from ...schema.chips.usual_faults import describe_endpoint
from .failures import Effect, FaultDictionary
from .hypotheses import Hypothesis

_MOVED: Final = 0.15  # of what a point should read: what is worth saying
_LEAST_V: Final = 0.2
_NOTHING: Final = 1e-3  # of what a point should read: said as 0


@dataclass(frozen=True)
class Change:
    """One figure that a failure moves."""

    at: str
    quantity: str
    """``dc`` or ``vpp``."""
    right_v: float
    now_v: float

    @property
    def unit(self) -> str:
        """Its unit."""
        return "V" if self.quantity == "dc" else "Vpp"

    @property
    def size(self) -> float:
        """How far it moves, in shares of what it should read."""
        return abs(self.now_v - self.right_v) / max(abs(self.right_v), _LEAST_V)

    def words(self, chip: Chip) -> str:
        """As a technician says it: ``pin 9 VCC 1.9 V, not 8 V``."""
        now, right = print_value(self.now_v, self.unit), print_value(self.right_v, self.unit)
        return f"{describe_endpoint(chip, self.at)} {now}, not {right}"

    def document(self) -> dict[str, Any]:
        """As plain data."""
        return {
            "at": self.at,
            "quantity": self.quantity,
            "should_read_v": self.right_v,
            "would_read_v": self.now_v,
        }


def would_read(chip: Chip, suspect: Hypothesis, dictionary: FaultDictionary) -> tuple[str, ...]:
    """The points that a failed part moves most, in words."""
    if suspect.sort not in ("part", "joint"):
        return ()
    effects = dictionary.named.get((suspect.what, suspect.failure), {})
    return tuple(change.words(chip) for change in changes(dictionary, effects)[:3])


def changes(dictionary: FaultDictionary, effects: dict[str, Effect]) -> list[Change]:
    """What a failure moves far enough to be worth saying, the farthest first."""
    found = [change for change in _every(dictionary, effects) if change.size >= _MOVED]
    return sorted(found, key=lambda change: -change.size)


def _every(dictionary: FaultDictionary, effects: dict[str, Effect]) -> Iterator[Change]:
    for at, effect in effects.items():
        healthy = dictionary.healthy[at]
        pairs = (("dc", healthy.dc_v, effect.dc_v), ("vpp", healthy.vpp_v, effect.vpp_v))
        for quantity, right_v, now_v in pairs:
            if right_v is not None and now_v is not None:
                nothing = abs(now_v) < _NOTHING * abs(right_v)
                yield Change(at, quantity, right_v, 0.0 if nothing else now_v)
