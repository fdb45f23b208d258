"""``pinfolio draft``: a first chip file from a table of pins or a data sheet."""

from __future__ import annotations

import logging
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ..asking import BadInput

if TYPE_CHECKING:
    from ...loaders.draft import Draft, Identity
    from ...loaders.pin_table import PinTable

_MOST_BYTES = 50_000_000


@click.command("draft", short_help="A first chip file from a table of pins or a data sheet.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--part", help="The part number.")
@click.option("--maker", help="Who makes or made it.")
@click.option("--kind", help="What the chip does in the set: jungle, comb filter ...")
@click.option("--package", help="Family and number of pins: SDIP-42.")
@click.option(
    "--column",
    "columns",
    multiple=True,
    metavar="KEY=N",
    help="What column N holds, from 1: dc_typ=5, 'dc@colour bars=6', skip=7. May be repeated.",
)
@click.option("--pages", help="Pages of a data sheet to look at: 3-9.", metavar="FIRST-LAST")
@click.option("--explain", is_flag=True, help="Show how the columns were told.")
@click.option(
    "-o",
    "--out",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Where to write it, a new file or a folder; printed when not given.",
)
def draft_command(
    file: Path,
    part: str | None,
    maker: str | None,
    kind: str | None,
    package: str | None,
    columns: tuple[str, ...],
    pages: str | None,
    explain: bool,
    out: Path | None,
) -> None:
    """Draft a chip file from FILE: CSV, TSV, a table as text, or a PDF data sheet with text.

    Every value names the page and row it was read at. What the words only suggest is marked
    'review', what is missing is a blank with what to write, and what could not be read is listed
    here and at the end of the draft.

    \b
      pinfolio draft tqz5752.csv --part TQZ5752 --package SDIP-52 -o chips/
      pinfolio draft sheet.pdf --explain
    """
    from ...loaders.draft import Origin, draft_chip, with_suggestions
    from ...loaders.table_text import DraftError
    from ...schema.text import visible

    identity = _identity(part, maker, kind, package)
    sheet = file.suffix.lower() == ".pdf"
    try:
        table = _table(file, columns, pages, sheet)
    except DraftError as fault:
        raise BadInput(visible(str(fault), keep_lines=True)) from None
    origin = Origin("sheet" if sheet else "table", "data sheet", table.title or file.name)
    identity = with_suggestions(identity, table, file.stem)
    draft = draft_chip(table, identity, origin)
    if explain:
        for line in table.explained:
            click.echo(visible(line), err=True)
    for unread in draft.unread:
        click.echo(f"not read: {visible(str(unread))}", err=True)
    _put(draft, identity, out)


def _identity(
    part: str | None, maker: str | None, kind: str | None, package: str | None
) -> Identity:
    """What the options say the chip is."""
    from ...loaders.draft import Identity, IdentityError, check_part
    from .new_chip import NotAChip, check_kind, read_package

    try:
        if part is not None:
            check_part(part)
        if kind is not None:
            check_kind(kind)
        return Identity(part, maker, kind, read_package(package) if package else None)
    except (IdentityError, NotAChip) as refused:
        raise BadInput(str(refused)) from None


def _table(file: Path, columns: tuple[str, ...], pages: str | None, sheet: bool) -> PinTable:
    """The pins that the file holds."""
    from ...loaders.pin_table import read_pin_table

    overrides = _overrides(columns)
    data = _read(file)
    if sheet or data.startswith(b"%PDF"):
        try:
            from ...loaders.data_sheet import read_data_sheet
        except ImportError:
            raise BadInput("a PDF needs pdfplumber: pip install 'pinfolio[pdf]'") from None
        logging.getLogger("pdfminer").setLevel(logging.CRITICAL)  # it warns of every odd font
        return read_data_sheet(data, file.name, overrides, _pages(pages))
    if pages is not None:
        raise BadInput(f"found --pages for {file.name}, expected it with a PDF only")
    return read_pin_table(data, file.name, overrides)


def _read(file: Path) -> bytes:
    from ...schema.text import visible

    shown = visible(str(file))
    try:
        if file.stat().st_size > _MOST_BYTES:
            size, most = file.stat().st_size / 1e6, _MOST_BYTES / 1e6
            found = f"{shown}: found {size:.0f} MB, expected at most {most:.0f} MB"
            raise BadInput(f"{found}; take the pages with the tables out of it first")
        return file.read_bytes()
    except OSError as refused:
        raise BadInput(f"{shown}: cannot be read ({refused.strerror})") from None


def _overrides(columns: tuple[str, ...]) -> dict[str, int]:
    """``dc_typ=5`` -> {"dc_typ": 5}."""
    from ...loaders.table_headings import UnknownColumnError, check_overrides

    overrides: dict[str, int] = {}
    for said in columns:
        key, sign, number = said.rpartition("=")
        if not sign or not number.strip().isdecimal() or len(number) > 3:
            raise BadInput(f"found --column {said!r}, expected a key and a number: dc_typ=5")
        overrides[key.strip()] = int(number)
    try:
        check_overrides(overrides)
    except UnknownColumnError as refused:
        raise BadInput(str(refused)) from None
    return overrides


def _pages(said: str | None) -> tuple[int, int] | None:
    """``3-9`` -> (3, 9)."""
    if said is None:
        return None
    first, _, last = said.partition("-")
    ends = (first, last or first)
    if not all(end.isdecimal() and len(end) < 6 for end in ends) or int(first) < 1:
        raise BadInput(f"found --pages {said!r}, expected first and last page: 3-9")
    return int(ends[0]), int(ends[1])


def _put(draft: Draft, identity: Identity, out: Path | None) -> None:
    """Print the draft, or write it as a file that was not there before."""
    from ...loaders.whole_file import write_new_text
    from ...schema.text import visible
    from .new_chip import file_name

    if out is None:
        click.echo(draft.text, nl=False)
        return
    path = out / file_name(identity.part or "draft") if out.is_dir() else out
    shown = visible(str(path))
    try:
        write_new_text(path, draft.text)
    except FileExistsError:
        raise BadInput(f"{shown}: is there already, and is not overwritten") from None
    except OSError as refused:
        raise BadInput(f"{shown}: cannot be written ({refused.strerror})") from None
    counts = f"{draft.pins} pins, {draft.blanks} blanks, {len(draft.unread)} not read"
    click.echo(f"{shown}: {counts}; next: pinfolio lint {shown}")
