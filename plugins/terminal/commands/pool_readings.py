"""``pinfolio pool-readings``: what good sets of many shops read, as one table."""

from __future__ import annotations

from pathlib import Path

import click

from ..command_common import BadInput, folio_option
from ..progress import progress_bar


@click.command("pool-readings", short_help="Readings of good sets as a Parquet table.")
@folio_option
@click.option(
    "-o",
    "--out",
    required=True,
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="The table to write; an old one is replaced.",
)
@click.option(
    "--tables",
    is_flag=True,
    help="Also chip.parquet, pin.parquet and expectation.parquet beside it.",
)
def pool_command(folio: Path | None, out: Path, tables: bool) -> None:
    """Write every reading of a good set, of all shops in the folio, as one Parquet table.

    Each column says what it means, units are in the names. Any tool that reads Parquet asks it,
    also of many files at once.

    \b
      pinfolio pool-readings -o readings.parquet
      pinfolio pool-readings --folio folio.db -o pool/readings.parquet --tables
    """
    from ....loaders import FolioError
    from ....loaders.folio.folio_choice import find_folio
    from ....loaders.publishing.readings_table import TableError, write_readings, write_tables
    from ....schema.text import format_count, visible

    try:
        with progress_bar("Writing") as progress:
            path = find_folio(folio, progress)
            written = {out: write_readings(path, out, progress)}
            if tables:
                written |= write_tables(path, out.parent, progress)
    except (FolioError, TableError) as refused:
        raise BadInput(visible(str(refused))) from None
    for file, rows in written.items():
        click.echo(f"{file}: {format_count(rows, 'row')}")
