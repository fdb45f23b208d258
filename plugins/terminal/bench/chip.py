"""Show a chip: its supplies, a table of its pins, notes and cautions.

The table has a column for the DC voltage in each of the two best-known conditions, or in the one
that --condition names, and one for the signal.

\b
  pinfolio chip TQZ5752
  pinfolio chip TQZ5752 --condition "no signal"
  pinfolio chip TQZ5752 --svg package.svg --side solder
"""

from __future__ import annotations

from pathlib import Path

import click

from ..card_options import condition_option, svg_option
from ..command_common import folio_option, json_option, open_chosen_folio, print_json, write_picture


@click.command(help=__doc__)
@click.argument("part")
@condition_option
@click.option(
    "--side",
    type=click.Choice(["top", "solder"]),
    default="top",
    show_default=True,
    help="Side of the package that --svg draws.",
)
@svg_option
@json_option
@folio_option
def command(
    part: str,
    condition: str | None,
    side: str,
    svg: Path | None,
    as_json: bool,
    folio: Path | None,
) -> None:
    """Print the sheet of a chip, or write it as JSON or its package as a picture."""
    from ....schema.chips.lookup import find_condition
    from ...cards.chip_sheet import MOST_NOTES, build_chip_sheet
    from ...search.marking_lookup import find_chip

    with open_chosen_folio(folio) as opened:
        chip = find_chip(opened, part)
        full_condition = find_condition(chip, condition) if condition else None
        notes = opened.notes(chip.part, limit=MOST_NOTES)
        sheet = build_chip_sheet(chip, full_condition, notes, opened.proposals(notes))
    if svg is not None:
        from ...drawing.package_drawing import draw_package

        picture = draw_package(chip, "solder" if side == "solder" else "top", standalone=True)
        write_picture(svg, picture)
    if as_json:
        print_json(sheet.document())
    elif str(svg) != "-":  # a picture on standard output must come alone
        from ..tables.card_tables import print_sheet

        print_sheet(sheet)
