"""Show the card of one pin: function, DC limits, waveform, oscilloscope settings.

PIN is a number or a symbol. The card also lists the parts on the pin, the notes of shops, and
cautions. With --meter, --probe or --scope it adds the view through those instruments.

\b
  pinfolio pin TQZ5752 13
  pinfolio pin TQZ5752 "SYNC IN" --condition "colour bars"
  pinfolio pin TQZ5752 46 --probe "x1 probe"
  pinfolio pin TQZ5752 22 --svg sandcastle.svg
"""

from __future__ import annotations

from pathlib import Path

import click

from ..card_options import condition_option, svg_option
from ..command_common import (
    AnswerIsNo,
    folio_option,
    json_option,
    open_chosen_folio,
    print_json,
    write_picture,
)
from ..instrument_choice import choose_instruments, instrument_options


@click.command(help=__doc__)
@click.argument("part")
@click.argument("pin")
@condition_option
@instrument_options
@svg_option
@json_option
@folio_option
def command(
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
    from ....schema.chips.lookup import find_pin
    from ...cards.pin_card import build_pin_card
    from ...search.marking_lookup import find_chip

    instruments = choose_instruments(meter, probe, scope)
    with open_chosen_folio(folio) as opened:
        chip = find_chip(opened, part)
        pin_found = find_pin(chip, pin)
        notes = opened.notes(chip.part)
        card = build_pin_card(
            chip, pin_found, condition, instruments, notes, opened.proposals(notes)
        )
    if svg is not None:
        from ...cards.pictures import draw_scope_picture

        picture = draw_scope_picture(card, standalone=True)
        if picture is None:
            raise AnswerIsNo(f"{card.title}: no voltage or waveform is known here, nothing to draw")
        write_picture(svg, picture)
    if as_json:
        print_json(card.document())
    elif str(svg) != "-":
        from ..tables.card_tables import print_card

        print_card(card)
