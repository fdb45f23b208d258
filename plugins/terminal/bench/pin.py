"""Show the card of one pin: function, DC limits, waveform, oscilloscope settings.

PIN is a number or a symbol. The card also lists the parts on the pin, the notes of shops, and
cautions. With --meter, --probe or --scope it adds the view through those instruments; with --tester
the figures of a component tester, for a set that is off, unplugged and discharged.

\b
  pinfolio pin TQZ5752 13
  pinfolio pin TQZ5752 "SYNC IN" --condition "colour bars"
  pinfolio pin TQZ5752 46 --probe "x1 probe"
  pinfolio pin TQZ5752 9 --tester "component tester"
  pinfolio pin TQZ5752 22 --svg sandcastle.svg
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

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
from ..instrument_choice import choose_instruments, choose_tester, instrument_options, tester_option

if TYPE_CHECKING:
    from ...cards.pin_card import PinCard
    from ...instruments.component_tester import SetOffView


@click.command(help=__doc__)
@click.argument("part")
@click.argument("pin")
@condition_option
@instrument_options
@tester_option
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
    tester: str | None,
    svg: Path | None,
    as_json: bool,
    folio: Path | None,
) -> None:
    """Print the card of a pin, or write it as JSON or its signal as a picture."""
    from ....schema.chips.lookup import find_pin
    from ...cards.pin_card import build_pin_card
    from ...search.marking_lookup import find_chip

    instruments = choose_instruments(meter, probe, scope)
    chosen_tester = choose_tester(tester)
    with open_chosen_folio(folio) as opened:
        chip = find_chip(opened, part)
        model = find_pin(chip, pin)
        notes = opened.notes(chip.part)
        card = build_pin_card(chip, model, condition, instruments, notes, opened.proposals(notes))
    tester_view = None
    if chosen_tester is not None:
        from ...instruments.component_tester import view_with_tester

        tester_view = view_with_tester(chip, model, chosen_tester)
    if svg is not None:
        write_picture(svg, _draw(card, tester_view))
    if as_json:
        tester_document = {} if tester_view is None else {"tester": tester_view.document()}
        print_json(card.document() | tester_document)
    elif str(svg) != "-":  # a picture on standard output must come alone
        from ..tables.card_tables import print_card

        print_card(card)
        if tester_view is not None:
            from ..tables.tester_table import print_tester_view

            print_tester_view(tester_view)


def _draw(card: PinCard, view: SetOffView | None) -> str:
    """Return the picture of the card, or of the pin with the tester; raise AnswerIsNo for none."""
    if view is not None:
        if view.pin is None:
            raise AnswerIsNo(f"{card.title}: no figure of the tester is known; leave out --svg")
        from ...drawing.tester_picture import draw_tester_figure

        title = f"{card.title} to ground, set off, with {view.tester.name}"
        return draw_tester_figure(view.pin.shares, title, view.pin.words, standalone=True)
    from ...cards.pictures import draw_scope_picture

    picture = draw_scope_picture(card, standalone=True)
    if picture is None:
        raise AnswerIsNo(f"{card.title}: no voltage or waveform is known here, nothing to draw")
    return picture
