"""``pinfolio note take``: keep the notes that were made on a page."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from .command_common import folio_option
from .shop_options import keep_note, open_chosen_shop, require_reason, shop_option, yes_option

if TYPE_CHECKING:
    from ...loaders.shop.shop_folder import Shop
    from ...schema.note import Note


@click.command("take", short_help="Keep notes made on a page.")
@click.argument(
    "files",
    nargs=-1,
    required=True,
    metavar="FILE...",
    type=click.Path(path_type=Path, dir_okay=False, exists=True),
)
@click.option("--unlisted", is_flag=True, help="Accept a chip that is in no folio yet, as written.")
@yes_option
@shop_option
@folio_option
def take_command(
    files: tuple[Path, ...],
    unlisted: bool,
    yes: bool,
    shop_folder: Path | None,
    folio: Path | None,
) -> None:
    """Check note files that a page made, show each, and keep them in the shop's folder.

    The shop's name and today's date are put in. With --yes nothing is asked.

    \b
      pinfolio note take TQZ5752-46.note.yaml
      pinfolio note take ~/Downloads/*.note.yaml --yes
    """
    from ...schema.text import visible

    shop = open_chosen_shop(shop_folder, to_change=True)
    # All are checked before the first is kept: a faulty one leaves the folder as it was.
    notes = [_read(path, shop, folio, unlisted) for path in files]
    for path, note in zip(files, notes, strict=True):
        if not yes:
            click.echo(visible(_summarise(note), keep_lines=True), err=True)
            click.confirm("Keep it?", default=True, abort=True, err=True)
        kept = keep_note(shop, note, (), yes)
        click.echo(visible(f"{note.id}: {note.kind}, {note.chip} {note.at}"))
        taken = f"{path} is kept as {kept}; build the folio again to see it."
        click.echo(visible(taken), err=True)


def _read(path: Path, shop: Shop, folio: Path | None, unlisted: bool) -> Note:
    """Return the note of a file, with places and conditions as the chip file spells them."""
    from ...loaders.shop.new_note_file import load_new_note
    from ...loaders.shop.note_anchors import anchor_note
    from ...loaders.shop.note_files import draw_note_id
    from ..notes.note_form import normalise_note, sign_form
    from . import note_input

    note = load_new_note(path, sign_form(shop) | {"id": draw_note_id(), "shop": shop.handle})
    chip = note_input.find_noted_chip(folio, note.chip, unlisted)
    checked = require_reason(normalise_note(note, chip), chip)
    return checked if chip is None else anchor_note(checked, chip)


def _summarise(note: Note) -> str:
    """Return a note in a few lines, to be confirmed."""
    from ..notes.note_view import RevisionView

    shown = RevisionView(note)
    fields = (*shown.lines, ("Text", note.text or ""), ("In", shown.circumstances))
    lines = [f"  {name}: {value}" for name, value in fields if value]
    return "\n".join([f"{note.kind}, {note.chip} {note.at}", *lines])
