"""The verdicts on readings as tables."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ....schema.text import visible
from ...readings.checks import PinChecks
from ...readings.places import name_place
from ...readings.verdict import FigureVerdict, PinVerdict
from ..command_common import open_console

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table


def print_judged(judged: PinVerdict) -> None:
    """Print one pin: the verdict, each figure, the reasons, and the usual causes."""
    console = open_console()
    instruments = judged.instruments
    _print(console, f"{judged.chip.part} {name_place(judged.pin)}: {judged.heading}", "bold")
    names = f"{instruments.meter.name}, {instruments.probe.name}, {instruments.scope.name}"
    _print(console, f"Condition {judged.condition}; read with {names}")
    if judged.results:  # none if nothing that was read can be compared
        console.print(_build_table(judged.results))
    for reason in judged.why:
        _print(console, f"  {reason}")
    if judged.likely:
        _print(console, "Look first (common practice):")
        for cause in judged.likely:
            _print(console, f"  - {cause}")


def print_checked(checked: PinChecks) -> None:
    """Print each pin that is not right, then all verdicts in one table, and the conclusion."""
    console = open_console()
    for judged in checked.pins:
        if not judged.is_right:
            print_judged(judged)
            console.print()
    console.print(_build_summary(checked))
    if checked.together:
        _print(console, f"Together: {checked.together}", "bold")


def _build_summary(checked: PinChecks) -> Table:
    from rich import box
    from rich.table import Table

    table = Table("At", "Read", "Should be", "Verdict", box=box.SIMPLE_HEAD, pad_edge=False)
    for judged in checked.pins:
        read = [result.reading_words for result in judged.results]
        right = [result.expected_words for result in judged.results]
        cells = (name_place(judged.pin), "\n".join(read), "\n".join(right), judged.verdict)
        table.add_row(*(visible(cell, keep_lines=True) for cell in cells))
    for one in checked.unjudged:
        table.add_row(visible(one.place), "", "", visible(one.why))
    return table


def _build_table(results: tuple[FigureVerdict, ...]) -> Table:
    """Return the table of figures: as read, as on the pin without the instrument, as expected."""
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for name in ("Figure", "Read", "On the pin", "Should be", "Chance it is right", "Verdict"):
        table.add_column(name)
    for result in results:
        table.add_row(
            result.expected.quantity,
            result.reading_words,
            result.corrected_words,
            result.expected_words,
            result.chance_words or "–",
            result.verdict,
        )
    return table


def _print(console: Console, text: str, style: str = "") -> None:
    console.print(visible(text), style=style)
