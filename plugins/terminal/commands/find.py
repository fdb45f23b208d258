"""``pinfolio find``: what is this chip, and which pin does that?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from ....loaders.folio.exact_marking import MARKING
from ...search.exact import MOST_CHIPS, exact_line
from ..command_common import (
    AnswerIsNo,
    asked_folio,
    folio_option,
    json_option,
    print_json,
    terminal,
)

if TYPE_CHECKING:
    from rich.table import Table

    from ...search.answer import SearchAnswer
    from ...search.marking_lookup import MarkingMatch


@click.command("find", short_help="What is this chip? Which pin does that?")
@click.argument("text", nargs=-1, required=True)
@click.option(
    "--limit",
    type=click.IntRange(1, 500),
    default=MOST_CHIPS,
    show_default=True,
    help="Most chips, and most pins, to list.",
)
@click.option("--kind", metavar="KIND", help="Only chips of this kind, such as 'jungle'.")
@click.option("--package", metavar="NAME", help="Only chips in this package: SDIP-52, or SDIP.")
@click.option("--system", metavar="NAME", help="Only chips for this system, such as PAL-B/G.")
@click.option("--role", metavar="ROLE", help="Only pins of this role, such as 'output'.")
@click.option("--pins", type=click.IntRange(1), help="Only chips with so many pins.")
@click.option("--supply", metavar="PIN", type=click.IntRange(1), help="Only chips fed at this pin.")
@json_option
@folio_option
def find_command(
    text: tuple[str, ...],
    limit: int,
    kind: str | None,
    package: str | None,
    system: str | None,
    role: str | None,
    pins: int | None,
    supply: int | None,
    as_json: bool,
    folio: Path | None,
) -> None:
    """Look up a marking, whole, in part or damaged, or words such as a function; or both at once.

    A sign that cannot be read is typed as ?; words in double quotes are a phrase.

    \b
      pinfolio find 5752
      pinfolio find burst key
      pinfolio find TQZ5752 sync input
      pinfolio find '"burst key"'
      pinfolio find "Q?57" --package SDIP-52
    """
    from ....loaders.folio.chip_search import Only
    from ...search.find import find

    asked = " ".join(text)
    with asked_folio(folio) as opened:
        found = find(opened, asked, limit, Only(kind, package, system, role, pins, supply))
        if as_json:
            print_json(found.document())
        elif found:
            _print(found)
    if not found:
        near = f"; nearest parts: {', '.join(found.nearest)}" if found.nearest else ""
        raise AnswerIsNo(f"nothing found for {asked!r}{near}")


def _print(found: SearchAnswer) -> None:
    from ....schema.text import visible

    if found.groups == ("chips",) and all(match.score >= MARKING for match in found.chips):
        for match in found.chips:
            click.echo(_sure(match))
        return
    console = terminal()
    for name in found.groups:
        heading, *rows = TABLES[name](found)
        table = _table(*heading)
        for row in rows:
            table.add_row(*map(visible, row))
        console.print(table)
    for look in found.settles:
        click.echo(visible(str(look)))


def _sure(match: MarkingMatch) -> str:
    chip = match.chip
    return exact_line(chip.part, chip.maker, chip.kind, chip.package, chip.invented, match.match)


def _chips(found: SearchAnswer) -> Iterator[Sequence[str]]:
    guessed = any(match.probability is not None for match in found.chips)
    yield ("Part", "Maker", "Kind", "Package", *(["Likely"] if guessed else []), "Why")
    for match in found.chips:
        chip = match.chip
        maker = f"{chip.maker} (invented)" if chip.invented else chip.maker
        likely = [match.likely] if guessed else []
        yield (chip.part, maker, chip.kind, chip.package, *likely, match.match)


def _pins(found: SearchAnswer) -> Iterator[Sequence[str]]:
    yield ("Part", "Pin", "Symbol", "Function", "Why")
    for match in found.pins:
        pin = match.pin
        yield (pin.part, str(pin.number), pin.symbol, pin.function, match.match)


def _functions(found: SearchAnswer) -> Iterator[Sequence[str]]:
    yield ("What pins do", "On")
    for match in found.functions:
        yield (match.said.text, str(match.said))


def _blocks(found: SearchAnswer) -> Iterator[Sequence[str]]:
    yield ("Stage", "In")
    for match in found.blocks:
        yield (match.said.text, str(match.said))


def _notes(found: SearchAnswer) -> Iterator[Sequence[str]]:
    yield ("Noted on", "At", "Says")
    for match in found.notes:
        yield (match.note.chip, match.note.at, match.says)


TABLES: Final = {
    "chips": _chips,
    "pins": _pins,
    "functions": _functions,
    "blocks": _blocks,
    "notes": _notes,
}


def _table(*columns: str) -> Table:
    from rich import box
    from rich.table import Table

    return Table(*columns, box=box.SIMPLE_HEAD, pad_edge=False)
