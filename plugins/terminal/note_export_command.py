"""``pinfolio note export``: the shop's own notes as a table."""

from __future__ import annotations

from pathlib import Path

import click

from .command_common import BadInput, write_replaceable
from .shop_options import load_notes, open_chosen_shop, shop_option


@click.command("export", short_help="Write notes as a table.")
@click.argument("chip", required=False)
@click.option(
    "-o", "--out", required=True, type=click.Path(path_type=Path, dir_okay=False), metavar="FILE",
    help="FILE.csv or FILE.jsonl; - prints CSV.",
)  # fmt: skip
@click.option("--kind", metavar="KIND", help="Only notes of this kind.")
@shop_option
def export_command(chip: str | None, out: Path, kind: str | None, shop_folder: Path | None) -> None:
    """Write the shop's own notes, of CHIP or all of them, as a table that 'note import' reads.

    A row for each note that is not withdrawn, as it reads now. Attached files are not in a table;
    'pinfolio share' hands them over. No cell of the CSV runs in a spreadsheet.

    \b
      pinfolio note export -o notes.csv
      pinfolio note export TQZ5752 -o notes.jsonl
    """
    from ...loaders.note_tables.table_writing import format_csv, format_json_lines
    from ..notes.note_export import build_rows
    from ..notes.note_form import normalise_field
    from ..notes.revisions import collect_notes, filter_notes

    if out.suffix not in (".csv", ".jsonl") and str(out) != "-":
        raise BadInput(
            f"{out}: no such table is written; name a file .csv, which spreadsheets open, or .jsonl"
        )
    shop = open_chosen_shop(shop_folder)
    own = [note for note in load_notes(shop) if note.shop == shop.handle]
    full_kind = normalise_field("kind", kind, None) if kind else None
    table = build_rows(filter_notes(collect_notes(own), chip, kind=full_kind))
    is_lines = out.suffix == ".jsonl"
    _write(
        out, format_json_lines(table.rows) if is_lines else format_csv(table.headings, table.rows)
    )
    left = (
        *([f"{table.attachments} attached files are not in it"] if table.attachments else []),
        *([f"{table.conflicts} notes are in conflict; one side is"] if table.conflicts else []),
    )
    click.echo("; ".join([f"{len(table.rows)} notes", *left]), err=True)


def _write(path: Path, text: str) -> None:
    """Write the table, or print it without a mark of its encoding.

    Raises BadInput, also for a file that is no table of notes.
    """
    from ..notes.note_export import is_note_table

    shown = text.removeprefix("\ufeff") if str(path) == "-" else text
    write_replaceable(path, shown, is_note_table)
