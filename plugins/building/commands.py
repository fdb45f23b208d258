"""``pinfolio build`` and ``pinfolio schema``: for whoever adds a chip."""

from __future__ import annotations

from pathlib import Path

import click

from ..asking import BadInput, print_json
from ..progress import progress_bar


@click.command("build", short_help="Make a folio from chip files and notes.")
@click.argument(
    "sources", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="SOURCE..."
)
@click.option(
    "-o",
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    required=True,
    metavar="FILE",
    help="The folio to write; an old one is replaced once all is well.",
)
@click.option(
    "--quick",
    is_flag=True,
    help="Leave out the fault dictionaries: they are then worked out at each first question.",
)
def build_command(sources: tuple[Path, ...], out: Path, quick: bool) -> None:
    """Read chip files, folders of them, and shops' folders with their notes, as one folio.

    Every fault of every file is named with its line; while there is one, nothing is written.

    \b
      pinfolio build chips/ -o folio.db
      pinfolio build chips/ my-shop/ -o folio.db
    """
    from ...loaders import FolioError
    from ...loaders.build import build_folio
    from ...loaders.faults import FaultyFile
    from ...schema.text import counted, visible
    from ..faultfinding.dictionary_bytes import dictionary_bytes

    extra = None if quick else dictionary_bytes
    try:
        with progress_bar("Building") as progress:
            info = build_folio(sources, out, progress, extra)
    except (FaultyFile, FolioError) as fault:
        raise BadInput(visible(str(fault), keep_lines=True)) from None
    counts = f"{counted(info.chips, 'chip')}, {counted(info.pins, 'pin')}"
    counts += f", {counted(info.notes, 'note')}" if info.notes else ""
    click.echo(f"{out}: {counts}, digest {info.digest[:12]}")


@click.command("schema", short_help="The JSON Schema of a chip file.")
def schema_command() -> None:
    """Print the JSON Schema of a chip file, which editors check and complete by.

    \b
      pinfolio schema > chip.schema.json
    """
    from ...schema.json_schema import chip_json_schema

    print_json(chip_json_schema())
