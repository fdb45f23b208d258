"""Start a chip file with a blank for every unknown value.

Each blank is explained beside it. An existing file is never overwritten.

\b
  pinfolio new QZ5710 --package SDIP-52 --kind jungle -o chips/
"""

from __future__ import annotations

from pathlib import Path

import click

from ....loaders.system.shell_words import quote_word
from ..command_common import BadInput


@click.command(help=__doc__)
@click.argument("part")
@click.option("--package", required=True, help="Family and number of pins: SDIP-42.")
@click.option("--kind", help="Kind of chip: jungle, comb filter ...")
@click.option(
    "-o",
    "--out",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="New file or folder to write to; default: print the text.",
)
def command(part: str, package: str, kind: str | None, out: Path | None) -> None:
    from ....loaders.chip_files.part_name import PartError
    from ....schema.text import format_count, visible
    from ...contributing.new_chip import NotAChip, begin_chip_file
    from ..new_file import write_chip_file

    try:
        text = begin_chip_file(part, package, kind)
    except (PartError, NotAChip) as refused:
        raise BadInput(visible(str(refused))) from None
    if out is None:
        click.echo(text, nl=False)
        return
    shown = write_chip_file(out, part, text)
    blanks = format_count(text.count("#?"), "blank")
    click.echo(f"{shown}: {blanks} to fill in; next: pinfolio lint {quote_word(shown)}")
