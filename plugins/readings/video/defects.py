"""Defects by the names that technicians use, from ``defects.yaml``: verdict, and where to look."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final

_AS_EXPECTED: Final = "as expected"


@dataclass(frozen=True)
class Defect:
    """A defect with the figure that shows it."""

    name: str
    why: str
    """The figure and its limits, in one sentence."""
    is_advised: bool = False
    """Whether the capture was taken so as the pin's own settings advise: no fault of it."""

    @property
    def verdict(self) -> str:
        """The verdict on the pin, in the words of any reading."""
        return _AS_EXPECTED if self.is_advised else str(read_known_defects()[self.name]["verdict"])

    @property
    def look(self) -> tuple[str, ...]:
        """Where to look, most likely first."""
        return tuple(read_known_defects()[self.name]["look"])

    @property
    def sentence(self) -> str:
        """Name and figure in one line."""
        return f"{self.name}: {self.why}"


@cache
def read_known_defects() -> dict[str, dict[str, Any]]:
    """Return verdict and places to look of every defect, by its name."""
    import yaml

    known: dict[str, dict[str, Any]] = yaml.load(
        Path(__file__).with_suffix(".yaml").read_text(encoding="utf-8"),
        Loader=yaml.CSafeLoader,
    )
    return known
