"""A difference between two chips: its aspect, its weight, the change it would need."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final, Literal

Weight = Literal["stops", "change", "mind"]
"""``stops``: no change around the chip helps; ``change``: one does; ``mind``: worth knowing."""


@dataclass(frozen=True)
class Difference:
    """A difference between the fitted chip and the one that is to replace it."""

    weight: Weight
    aspect: str
    """Package, supply, function, role, DC, signal, waveform levels, impedance, load and so on."""
    wordings: tuple[str, str]
    """Each chip's side in words, the fitted chip first."""
    needs: str
    """The change it would need, in words."""
    pin: int | None = None
    """The pin concerned; None for the whole chip."""
    symbol: str = ""
    """Symbol of the pin on the fitted chip."""
    condition: str | None = None
    """State of the set in which it shows; None for all."""

    @property
    def place(self) -> str:
        """The pin with its symbol, or ``chip``, for a table."""
        return "chip" if self.pin is None else f"{self.pin} {self.symbol}"

    def document(self) -> dict[str, Any]:
        """Return the difference as plain data."""
        return {
            "pin": self.pin,
            "symbol": self.symbol or None,
            "condition": self.condition,
            "what": self.aspect,
            "weight": self.weight,
            "fitted": self.wordings[0],
            "other": self.wordings[1],
            "needs": self.needs,
        }


WEIGHTS: Final[dict[Weight, str]] = {
    "stops": "What stops it",
    "change": "What has to be changed",
    "mind": "What to mind",
}
"""Headings for the differences of each weight, in order."""
