"""A measured figure at the pin, held against its limits."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from ....schema.chips.limits import Limits
from ..correction import CorrectedValue
from ..verdict import FigureVerdict, judge_figure
from .figure import Figure, print_amount

Correct = Callable[[Figure], CorrectedValue]
"""Function that takes the instrument's part out of a figure and puts its doubt in."""

Span = tuple[tuple[float, float], str]
"""Limits of a figure, and where they come from."""


@dataclass(frozen=True)
class JudgedFigure:
    """A figure with the instrument's part taken out; its verdict where it has limits."""

    figure: Figure
    corrected: CorrectedValue
    held: FigureVerdict | None = None
    source: str = ""
    """Where the limits come from."""

    @property
    def name(self) -> str:
        """The figure's name in words."""
        return self.figure.name

    @property
    def words(self) -> str:
        """The figure at the pin with its expanded uncertainty (k = 2)."""
        at_pin = Figure(
            self.name, self.corrected.value, self.figure.unit, self.corrected.uncertainty
        )
        return at_pin.words

    @property
    def limits_words(self) -> str:
        """The limits; empty without any."""
        if self.held is None:
            return ""
        limits, unit = self.held.expected, self.figure.unit
        if math.isfinite(limits.low) and limits.low == -limits.high:
            return f"± {print_amount(limits.high, unit)}"
        if limits.high == float("inf"):
            return f"{print_amount(limits.low, unit)} or more"
        if limits.low == -float("inf"):
            return f"up to {print_amount(limits.high, unit)}"
        return f"{print_amount(limits.low, unit)} to {print_amount(limits.high, unit)}"

    @property
    def verdict(self) -> str:
        """The verdict in a word; empty without limits."""
        return self.held.verdict if self.held is not None else ""

    @property
    def sentence(self) -> str:
        """Figure and limits, for the reason of a defect."""
        return f"{self.name} {self.words}, should be {self.limits_words}"

    def document(self) -> dict[str, Any]:
        """Return the figure as plain data; limits without end are null."""
        limits = self.held.expected if self.held is not None else None
        return {
            "name": self.name,
            "value": self.corrected.value,
            "unit": self.figure.unit,
            "standard_uncertainty": self.corrected.uncertainty,
            "measured": self.figure.value,
            "measured_standard_uncertainty": self.figure.uncertainty,
            "min": _as_json(limits.low) if limits else None,
            "max": _as_json(limits.high) if limits else None,
            "limits_from": self.source or None,
            "probability_as_expected": self.held.probability if self.held is not None else None,
            "verdict": self.verdict or None,
        }


def hold(
    figure: Figure, correct: Correct, span: tuple[float, float] | None = None, source: str = ""
) -> JudgedFigure:
    """Return a figure at the pin, judged where ``span`` gives its limits."""
    corrected = correct(figure)
    if span is None:
        return JudgedFigure(figure, corrected)
    low, high = span
    limits = Limits(figure.name, figure.unit, low if math.isfinite(low) else high, low, high, True)
    return JudgedFigure(figure, corrected, judge_figure(limits, figure.value, corrected), source)


def _as_json(value: float) -> float | None:
    return value if abs(value) != float("inf") else None
