"""Start a chip file with a blank for every unknown value.

Each blank is explained beside it. An existing file is never overwritten.

--measure asks for symbol, reading and condition pin by pin at the bench, and saves each pin at
once; every value is marked as measured in one set. Skip a pin, go back, stop, and go on another
day with the same command: the file itself says which pins are missing. After ground and one supply
the chip can be built, found and printed.

\b
  pinfolio new QZ5710 --package SDIP-52 --kind jungle -o chips/
  pinfolio new QZ5710 --package SDIP-52 --measure -o qz5710.yaml
"""

from __future__ import annotations

from pathlib import Path

import click

from ....loaders.system.shell_words import quote_word
from ..command_common import BadInput


@click.command(help=__doc__)
@click.argument("part")
@click.option("--package", help="Family and number of pins: SDIP-42.")
@click.option("--kind", help="Kind of chip: jungle, comb filter ...")
@click.option("--measure", is_flag=True, help="Ask pin by pin at the bench; go on where you were.")
@click.option(
    "-o",
    "--out",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="New file or folder to write to; default: print the text.",
)
def command(
    part: str, package: str | None, kind: str | None, measure: bool, out: Path | None
) -> None:
    """Print or write a chip file to fill in, or ask for its pins one by one."""
    from ....loaders.chip_files.part_name import PartError
    from ....schema.text import format_count, visible
    from ...contributing.new_chip import NotAChip, begin_chip_file
    from ..new_file import write_chip_file

    if measure:
        from ..measure_prompts import measure_chip

        measure_chip(part, package, kind, out)
        return
    if package is None:
        raise BadInput("the package is missing; add one such as --package SDIP-42")
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
