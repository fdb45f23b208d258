"""Export the readings of good sets as a Parquet table.

The table holds every such reading of every shop in the folio; its columns are described in the
file and carry their unit in the name. Any Parquet tool can query it, and many such files together.

\b
  pinfolio pool-readings -o readings.parquet
  pinfolio pool-readings --folio folio.db -o pool/readings.parquet --tables
"""

from __future__ import annotations

from pathlib import Path

import click

from ..command_common import folio_option
from ..progress import progress_bar


@click.command(help=__doc__)
@folio_option
@click.option(
    "-o",
    "--out",
    required=True,
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Table to write; an existing file is replaced.",
)
@click.option(
    "--tables",
    is_flag=True,
    help="Also write chip.parquet, pin.parquet and expectation.parquet beside it.",
)
def command(folio: Path | None, out: Path, tables: bool) -> None:
    from ....loaders.folio.folio_choice import find_folio
    from ....loaders.publishing.readings_table import write_readings, write_tables
    from ....schema.text import format_count

    with progress_bar("Writing") as progress:
        path = find_folio(folio, progress)
        rows_of = {out: write_readings(path, out, progress)}
        if tables:
            rows_of |= write_tables(path, out.parent, progress)
    for file, rows in rows_of.items():
        click.echo(f"{file}: {format_count(rows, 'row')}")
