"""``pinfolio chip`` and ``pinfolio pin``: the chip sheet and the pin card in the terminal."""

from __future__ import annotations

from pathlib import Path

import click

from ..command_common import (
    AnswerIsNo,
    asked_folio,
    folio_option,
    json_option,
    print_json,
    write_file,
)
from ..instrument_choice import chosen, instrument_options

condition_option = click.option(
    "--condition", metavar="NAME", help="The state of the set, such as 'no signal'."
)
svg_option = click.option(
    "--svg",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Write the drawing to FILE ('-' for standard output) as SVG.",
)


@click.command("chip", short_help="A chip at a glance: its pins in a table.")
@click.argument("part")
@condition_option
@click.option(
    "--side",
    type=click.Choice(["top", "solder"]),
    default="top",
    show_default=True,
    help="Side that the drawing of --svg is seen from.",
)
@svg_option
@json_option
@folio_option
def chip_command(
    part: str,
    condition: str | None,
    side: str,
    svg: Path | None,
    as_json: bool,
    folio: Path | None,
) -> None:
    """Show a chip: supplies, every pin with its DC and signal, the parts around it, cautions.

    \b
      pinfolio chip TQZ5752
      pinfolio chip TQZ5752 --condition "no signal"
      pinfolio chip TQZ5752 --svg package.svg --side solder
    """
    from ....schema.chips.lookup import find_condition
    from ...cards.chip_sheet import MOST_NOTES, build_chip_sheet
    from ...drawing.package_drawing import draw_package
    from ...search.marking_lookup import find_chip

    with asked_folio(folio) as opened:
        chip = find_chip(opened, part)
        name = find_condition(chip, condition) if condition else None
        sheet = build_chip_sheet(chip, name, opened.notes(chip.part, limit=MOST_NOTES))
    if svg is not None:
        write_file(
            svg, draw_package(chip, "solder" if side == "solder" else "top", standalone=True)
        )
    if as_json:
        print_json(sheet.document())
    elif str(svg) != "-":
        from ..tables.card_tables import print_sheet

        print_sheet(sheet)


@click.command("pin", short_help="The card of one pin: what it should show.")
@click.argument("part")
@click.argument("pin")
@condition_option
@instrument_options
@svg_option
@json_option
@folio_option
def pin_command(
    part: str,
    pin: str,
    condition: str | None,
    meter: str | None,
    probe: str | None,
    scope: str | None,
    svg: Path | None,
    as_json: bool,
    folio: Path | None,
) -> None:
    """Show the card of a pin, named by number or symbol: what it does, its DC with limits, its
    waveform, how to set the oscilloscope to see it, the parts on it, and cautions.

    \b
      pinfolio pin TQZ5752 13
      pinfolio pin TQZ5752 "SYNC IN" --condition "colour bars"
      pinfolio pin TQZ5752 46 --probe "x1 probe"
      pinfolio pin TQZ5752 22 --svg sandcastle.svg
    """
    from ....schema.chips.lookup import find_pin
    from ...cards.pin_card import build_pin_card, list_places
    from ...search.marking_lookup import find_chip

    instruments = chosen(meter, probe, scope)
    with asked_folio(folio) as opened:
        chip = find_chip(opened, part)
        at = find_pin(chip, pin)
        notes = opened.notes(chip.part, list_places(chip, at))
        card = build_pin_card(chip, at, condition, instruments, notes)
    if svg is not None:
        from ...cards.pictures import draw_scope_picture

        picture = draw_scope_picture(card, standalone=True)
        if picture is None:
            raise AnswerIsNo(f"{card.title}: no voltage or waveform is known here, nothing to draw")
        write_file(svg, picture)
    if as_json:
        print_json(card.document())
    elif str(svg) != "-":
        from ..tables.card_tables import print_card

        print_card(card)
