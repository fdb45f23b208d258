"""``pinfolio find``: what is this chip, and which pin does that?"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ..asking import AnswerIsNo, asked_folio, folio_option, json_option, print_json, terminal

if TYPE_CHECKING:
    from rich.table import Table

    from .find import Found


@click.command("find", short_help="What is this chip? Which pin does that?")
@click.argument("text", nargs=-1, required=True)
@click.option(
    "--limit",
    type=click.IntRange(1, 500),
    default=20,
    show_default=True,
    help="Most chips, and most pins, to list.",
)
@click.option("--kind", metavar="KIND", help="Only chips of this kind, such as 'jungle'.")
@click.option("--package", metavar="NAME", help="Only chips in this package: SDIP-52, or SDIP.")
@click.option("--system", metavar="NAME", help="Only chips for this system, such as PAL-B/G.")
@click.option("--role", metavar="ROLE", help="Only pins of this role, such as 'output'.")
@json_option
@folio_option
def find_command(
    text: tuple[str, ...],
    limit: int,
    kind: str | None,
    package: str | None,
    system: str | None,
    role: str | None,
    as_json: bool,
    folio: Path | None,
) -> None:
    """Look up a marking, whole or in part, or words such as a function; or both at once.

    \b
      pinfolio find 5752
      pinfolio find burst key
      pinfolio find TQZ5752 sync input
      pinfolio find "Q?57" --package SDIP-52
    """
    from .find import Only, find

    asked = " ".join(text)
    with asked_folio(folio) as opened:
        found = find(opened, asked, limit, Only(kind, package, system, role))
        if as_json:
            print_json(found.document())
        elif found:
            _print(found)
    if not found:
        near = f"; nearest parts: {', '.join(found.nearest)}" if found.nearest else ""
        raise AnswerIsNo(f"nothing found for {asked!r}{near}")


def _print(found: Found) -> None:
    from ...schema.text import visible

    console = terminal()
    if found.chips:
        table = _table("Part", "Maker", "Kind", "Package", "Why")
        for match in found.chips:
            chip = match.chip
            cells = (chip.part, _maker(chip.maker, chip.invented), chip.kind, chip.package)
            table.add_row(*map(visible, cells), visible(match.match))
        console.print(table)
    if found.pins:
        table = _table("Part", "Pin", "Symbol", "Function", "Why")
        for pin_match in found.pins:
            pin = pin_match.pin
            place = (pin.part, str(pin.number), pin.symbol)
            table.add_row(*map(visible, (*place, pin.function, pin_match.match)))
        console.print(table)


def _table(*columns: str) -> Table:
    from rich import box
    from rich.table import Table

    return Table(*columns, box=box.SIMPLE_HEAD, pad_edge=False)


def _maker(maker: str, invented: bool) -> str:
    return f"{maker} (invented)" if invented else maker
