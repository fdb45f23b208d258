"""One way in which two chips differ: what it is, how much it weighs, what it would need."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final, Literal

Weight = Literal["stops", "change", "mind"]
"""``stops``: cannot be mended around the chip; ``change``: can be; ``mind``: only to be known."""


@dataclass(frozen=True)
class Difference:
    """A difference between the chip fitted so far and the one that should stand in for it."""

    weight: Weight
    what: str
    """What differs: package, supply, function, role, DC, signal, polarity, limit, part."""
    told: tuple[str, str]
    """What each has, in words, the chip fitted so far first."""
    needs: str
    """What it would need, in words."""
    pin: int | None = None
    """The pin concerned; None for the whole chip."""
    symbol: str = ""
    """What the pin is called on the chip fitted so far."""
    condition: str | None = None
    """The state of the set it shows in, where it shows in one."""

    @property
    def place(self) -> str:
        """Where, for a table: the pin with its symbol, or the whole chip."""
        return "chip" if self.pin is None else f"{self.pin} {self.symbol}"

    def document(self) -> dict[str, Any]:
        """The difference as plain data."""
        return {
            "pin": self.pin,
            "symbol": self.symbol or None,
            "condition": self.condition,
            "what": self.what,
            "weight": self.weight,
            "fitted": self.told[0],
            "other": self.told[1],
            "needs": self.needs,
        }


WEIGHTS: Final = {
    "stops": "What stops it",
    "change": "What has to be changed",
    "mind": "What to mind",
}
"""The headings that the differences stand under, in order."""
