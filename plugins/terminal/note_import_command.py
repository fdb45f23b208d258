"""``pinfolio note import``: notes from a shop's own table."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from .command_common import AnswerIsNo, BadInput, folio_option, json_option, print_json
from .shop_options import (
    on_terminal,
    open_chosen_shop,
    report_set_aside,
    shop_option,
    warn_of_personal_data,
    yes_option,
)

if TYPE_CHECKING:
    from ...loaders.note_tables.note_table import NoteTable
    from ...loaders.note_tables.remembered_columns import RememberedTable
    from ...loaders.shop.shop_folder import Shop
    from ..notes.note_columns import Column
    from ..notes.note_import import NoteImport

_MOST_LISTED: Final = 20
_SAMPLE_CHARACTERS: Final = 40


@click.command("import", short_help="Take notes from a table.")
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path, dir_okay=False))
@click.option(
    "--map", "choices", multiple=True, metavar="FIELD=COLUMN",
    help="Field of a column, by its heading or number: dc=3; skip=7 leaves one out. Repeatable.",
)  # fmt: skip
@click.option(
    "--value", "values", multiple=True, metavar="FIELD=TEXT",
    help="Value for rows that have none: chip=TQZ5752. Repeatable.",
)  # fmt: skip
@click.option("--sheet", metavar="NAME", help="Sheet of a workbook, where several have cells.")
@click.option("--dry-run", is_flag=True, help="Say what would be taken, and write nothing.")
@click.option(
    "--rejects", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE.csv",
    help="Also write the rows that are not taken here, with line and reason.",
)  # fmt: skip
@click.option("--unlisted", is_flag=True, help="Accept chips that are in no folio yet, as written.")
@yes_option
@json_option
@shop_option
@folio_option
def import_command(
    file: Path,
    choices: tuple[str, ...],
    values: tuple[str, ...],
    sheet: str | None,
    dry_run: bool,
    rejects: Path | None,
    unlisted: bool,
    yes: bool,
    as_json: bool,
    shop_folder: Path | None,
    folio: Path | None,
) -> None:
    """Take notes from a table: FILE.csv, FILE.xlsx or another workbook, or FILE.jsonl.

    Columns are understood by their headings, such as chip, pin, symbol, condition, dc, symptom,
    part, cause, remedy, set and date; others are asked for, or named with --map. The columns are
    remembered in the shop's folder. Rows that make no note are listed with line and reason, and
    the exit status is then 1; the others are taken all together or not at all. A row that the
    shop has as a note already is not taken again.

    \b
      pinfolio note import repairs.csv --dry-run
      pinfolio note import repairs.xlsx --map dc=5 --map skip=Shelf --value chip=TQZ5752
    """
    from ...loaders.note_tables.table_rows import load_table

    shop = open_chosen_shop(shop_folder, to_change=not dry_run)
    table = load_table(file, sheet)
    remembered = _choose_columns(table, shop, choices, values)
    planned = _plan(table, remembered, shop, folio, unlisted)
    if rejects is not None:
        _write_rejects(rejects, table, planned)
    if as_json:
        print_json(planned.document())
    else:
        _report(planned, file, rejects)
    if not dry_run:
        _keep(planned, remembered, shop, yes)
    if planned.rejects:
        raise AnswerIsNo(f"{len(planned.rejects)} rows of {file} were not taken, listed above.")


def _choose_columns(
    table: NoteTable, shop: Shop, choices: tuple[str, ...], values: tuple[str, ...]
) -> RememberedTable:
    """Return how the table is read: as chosen now, as remembered, or as its headings say."""
    from ...loaders.note_tables.remembered_columns import (
        RememberedTable,
        find_remembered,
        load_columns,
    )
    from ..notes.note_columns import choose_columns, parse_choices, parse_values

    # The later wins: remembered columns, then options, then answers at the prompt.
    remembered = find_remembered(load_columns(shop), table.headings)
    field_of_column = dict(enumerate(remembered.fields)) if remembered is not None else {}
    field_of_column |= parse_choices(choices, table.headings)
    columns, unknown_headings = choose_columns(table.headings, field_of_column)
    if unknown_headings:
        field_of_column |= _ask_columns(table, columns, unknown_headings)
        columns, _ = choose_columns(table.headings, field_of_column)
    _show_columns(columns)
    remembered_values = dict(remembered.values) if remembered is not None else {}
    fields = tuple(column.field for column in columns)
    return RememberedTable(table.headings, fields, remembered_values | parse_values(values))


def _ask_columns(
    table: NoteTable, columns: tuple[Column, ...], unknown: tuple[str, ...]
) -> dict[int, str]:
    """Return the fields of the columns that are not understood, asked for on a terminal.

    Raises UnclearColumns where nobody can be asked.
    """
    from ...schema.text import visible
    from ..notes.note_columns import FIELDS, SKIP, UnclearColumns

    indexes = [index for index, heading in enumerate(table.headings) if heading in unknown]
    if not on_terminal():
        names = ", ".join(f"{index + 1} {table.headings[index]!r}" for index in indexes)
        raise UnclearColumns(
            f"columns not understood: {names}"
            f"; name the field of each, such as --map dc={indexes[0] + 1}"
            f", or leave it out with --map skip={indexes[0] + 1}"
            f"; the fields are {', '.join(FIELDS)}"
        )
    click.echo(f"Fields: {', '.join(FIELDS)}", err=True)
    field_of_column = {}
    for index in indexes:
        # A cell of the column often tells its meaning where the heading does not.
        sample = next((row.cells[index] for row in table.rows if row.cells[index:]), "")
        shown_sample = sample[:_SAMPLE_CHARACTERS]
        label = visible(f"Field of column {index + 1} {table.headings[index]!r} ({shown_sample})")
        field_of_column[index] = click.prompt(
            label, default=SKIP, value_proc=_parse_typed_field, err=True
        )
    return field_of_column


def _parse_typed_field(text: str) -> str:
    """Return the field of a typed word. Raises UsageError, after which a prompt asks again."""
    from ..notes.note_columns import UnclearColumns, parse_field

    try:
        return parse_field(text)
    except UnclearColumns as refused:
        raise click.UsageError(str(refused)) from None


def _show_columns(columns: tuple[Column, ...]) -> None:
    from ...schema.text import visible

    for number, column in enumerate(columns, start=1):
        unit = f" in {column.unit}" if column.unit else ""
        meaning = f"{column.field}{unit}" if column.field else "left out"
        click.echo(visible(f"Column {number} {column.heading!r}: {meaning}"), err=True)


def _plan(
    table: NoteTable, remembered: RememberedTable, shop: Shop, folio: Path | None, unlisted: bool
) -> NoteImport:
    """Return the notes that the rows of a table make, and the rows that make none."""
    from ...loaders import UnknownPart
    from ...loaders.shop.note_files import load_own_notes
    from ...schema import Chip
    from ..notes.note_columns import choose_columns
    from ..notes.note_import import plan_import
    from ..search.marking_lookup import find_chip
    from .command_common import open_chosen_folio
    from .progress import progress_bar

    set_aside: list[Any] = []
    own_notes = load_own_notes(shop, set_aside)
    report_set_aside(set_aside)
    columns, _ = choose_columns(table.headings, dict(enumerate(remembered.fields)))
    with open_chosen_folio(folio) as opened, progress_bar("Reading rows", "rows") as progress:

        def find_noted_chip(marking: str) -> Chip | None:
            try:
                return find_chip(opened, marking)
            except UnknownPart:
                if unlisted:
                    return None
                raise

        return plan_import(
            table, columns, remembered.values, shop, own_notes, find_noted_chip, progress
        )


def _report(planned: NoteImport, file: Path, rejects: Path | None) -> None:
    from ...schema.text import visible

    for reject in planned.rejects[:_MOST_LISTED]:
        click.echo(visible(f"{file}:{reject.row.line}: not taken: {reject.reason}"), err=True)
    if len(planned.rejects) > _MOST_LISTED:
        rest = len(planned.rejects) - _MOST_LISTED
        where = f"all are in {rejects}" if rejects else "write all with --rejects FILE.csv"
        click.echo(f"... and {rest} rows more that are not taken; {where}", err=True)
    for repeat in planned.repeats[:_MOST_LISTED]:
        told = f"line {repeat.line} says the same as line {repeat.first_line}; taken once"
        click.echo(visible(f"{file}: {told}"), err=True)
    click.echo(planned.summary)


def _write_rejects(path: Path, table: NoteTable, planned: NoteImport) -> None:
    """Write the rows that are not taken as CSV. Raises BadInput."""
    from ...loaders.note_tables.table_writing import format_csv
    from ...loaders.system.atomic_write import write_atomically
    from ..notes.note_export import build_reject_rows, is_reject_table

    text = format_csv(*build_reject_rows(table.headings, planned))
    try:
        write_atomically(path, text, is_replaceable=is_reject_table)
    except OSError as fault:
        raise BadInput(f"{path}: cannot be written ({fault.strerror}); name another file") from None
    click.echo(f"Written: {path}", err=True)


def _keep(planned: NoteImport, remembered: RememberedTable, shop: Shop, yes: bool) -> None:
    """Write the notes and the columns into the shop's folder, together."""
    from ...loaders.note_tables.remembered_columns import (
        format_columns,
        load_columns,
        locate_columns,
    )
    from ...loaders.shop.note_files import add_notes

    has_personal_data = warn_of_personal_data(planned.notes)
    if planned.notes and not yes:
        question = " although some may be personal" if has_personal_data else ""
        click.confirm(f"Take {len(planned.notes)} notes{question}?", abort=True, err=True)
    if planned.notes:
        shop.load_private_key()  # a missing key is named before anything is written
    columns = format_columns(remembered, load_columns(shop)).encode()
    add_notes(shop, planned.notes, {locate_columns(shop): columns})
    if planned.notes:
        click.echo("Build the folio again to see them.", err=True)
