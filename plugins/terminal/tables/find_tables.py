"""The answer to a search as tables."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Final

import click

from ....loaders.folio.chip_search import ChipRow
from ....schema.text import visible
from ...search.answer import SearchAnswer
from ...search.marking_lookup import MarkingMatch
from ..command_common import open_console

if TYPE_CHECKING:
    from rich.table import Table


def print_answer(found: SearchAnswer) -> None:
    """Print an answer: a line for each exact marking, else a table for each group."""
    # A marking read off a chip usually has one answer, which needs no table.
    if found.is_exact:
        for match in found.chips:
            click.echo(_describe_exact(match))
        return
    console = open_console()
    for group in found.groups:
        heading, *rows = _ROWS_OF[group](found)
        table = _build_table(*heading)
        for cells in rows:
            table.add_row(*map(visible, cells))
        console.print(table)
    for mark in found.distinguishing_marks:
        click.echo(visible(str(mark)))


def _describe_exact(match: MarkingMatch) -> str:
    """Return the line about a chip that bears the marking exactly."""
    chip = match.chip
    return visible(f"{chip.part} ({match.match}): {chip.kind}, {chip.package}, {_name_maker(chip)}")


def _name_maker(chip: ChipRow) -> str:
    return f"{chip.maker} (invented)" if chip.invented else chip.maker


def _list_chips(found: SearchAnswer) -> Iterator[Sequence[str]]:
    guessed = found.is_guess
    yield ("Part", "Maker", "Kind", "Package", *(["Likely"] if guessed else []), "Why")
    for match in found.chips:
        chip = match.chip
        likely = [match.probability_words] if guessed else []
        yield (chip.part, _name_maker(chip), chip.kind, chip.package, *likely, match.match)


def _list_pins(found: SearchAnswer) -> Iterator[Sequence[str]]:
    yield ("Part", "Pin", "Symbol", "Function", "Why")
    for match in found.pins:
        pin = match.pin
        yield (pin.part, str(pin.number), pin.symbol, pin.function, match.match)


def _list_functions(found: SearchAnswer) -> Iterator[Sequence[str]]:
    yield ("What pins do", "On")
    for match in found.functions:
        yield (match.shared.text, str(match.shared))


def _list_blocks(found: SearchAnswer) -> Iterator[Sequence[str]]:
    yield ("Stage", "In")
    for match in found.blocks:
        yield (match.shared.text, str(match.shared))


def _list_notes(found: SearchAnswer) -> Iterator[Sequence[str]]:
    yield ("Noted on", "At", "Says")
    for match in found.notes:
        yield (match.note.chip, match.note.at, match.sentence)


_ROWS_OF: Final = {
    "chips": _list_chips,
    "pins": _list_pins,
    "functions": _list_functions,
    "blocks": _list_blocks,
    "notes": _list_notes,
}


def _build_table(*columns: str) -> Table:
    from rich import box
    from rich.table import Table

    return Table(*columns, box=box.SIMPLE_HEAD, pad_edge=False)
