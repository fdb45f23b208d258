"""The answer to a search as tables."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Final

import click

from ....loaders.folio.chip_search import MARKING_SCORE, ChipRow
from ....schema.text import visible
from ...search.answer import SearchAnswer
from ...search.marking_lookup import MarkingMatch
from ..command_common import open_console

if TYPE_CHECKING:
    from rich.table import Table


def print_answer(found: SearchAnswer) -> None:
    """Print an answer: a line for each exact marking, else a table for each group."""
    if found.groups == ("chips",) and all(match.score >= MARKING_SCORE for match in found.chips):
        for match in found.chips:
            click.echo(_describe_exact(match))
        return
    console = open_console()
    for name in found.groups:
        heading, *rows = _ROWS_OF[name](found)
        table = _build_table(*heading)
        for row in rows:
            table.add_row(*map(visible, row))
        console.print(table)
    for mark in found.distinguishing_marks:
        click.echo(visible(str(mark)))


def _describe_exact(match: MarkingMatch) -> str:
    """Return the line about a chip that bears the marking exactly."""
    chip = match.chip
    return visible(f"{chip.part} ({match.match}): {chip.kind}, {chip.package}, {_maker(chip)}")


def _maker(chip: ChipRow) -> str:
    return f"{chip.maker} (invented)" if chip.invented else chip.maker


def _chips(found: SearchAnswer) -> Iterator[Sequence[str]]:
    guessed = any(match.probability is not None for match in found.chips)
    yield ("Part", "Maker", "Kind", "Package", *(["Likely"] if guessed else []), "Why")
    for match in found.chips:
        chip = match.chip
        likely = [match.probability_words] if guessed else []
        yield (chip.part, _maker(chip), chip.kind, chip.package, *likely, match.match)


def _pins(found: SearchAnswer) -> Iterator[Sequence[str]]:
    yield ("Part", "Pin", "Symbol", "Function", "Why")
    for match in found.pins:
        pin = match.pin
        yield (pin.part, str(pin.number), pin.symbol, pin.function, match.match)


def _functions(found: SearchAnswer) -> Iterator[Sequence[str]]:
    yield ("What pins do", "On")
    for match in found.functions:
        yield (match.shared.text, str(match.shared))


def _blocks(found: SearchAnswer) -> Iterator[Sequence[str]]:
    yield ("Stage", "In")
    for match in found.blocks:
        yield (match.shared.text, str(match.shared))


def _notes(found: SearchAnswer) -> Iterator[Sequence[str]]:
    yield ("Noted on", "At", "Says")
    for match in found.notes:
        yield (match.note.chip, match.note.at, match.sentence)


_ROWS_OF: Final = {
    "chips": _chips,
    "pins": _pins,
    "functions": _functions,
    "blocks": _blocks,
    "notes": _notes,
}


def _build_table(*columns: str) -> Table:
    from rich import box
    from rich.table import Table

    return Table(*columns, box=box.SIMPLE_HEAD, pad_edge=False)
