"""``pinfolio note take``: keep the notes that were made on a page, now or as they arrive."""

from __future__ import annotations

import re
import time
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from .command_common import BadInput, folio_option
from .shop_options import (
    keep_note,
    on_terminal,
    open_chosen_shop,
    require_reason,
    shop_option,
    yes_option,
)

if TYPE_CHECKING:
    from ...loaders.shop.shop_folder import Shop
    from ...loaders.system.arriving_files import ArrivingFiles
    from ...schema.note import Note


_LOOK_EVERY_S: Final = 1.0
# A browser that has a file of the name already puts a number into it.
_NAMES: Final = re.compile(r"[^.].*\.note( ?\([0-9]+\))?\.yaml")


@click.command("take", short_help="Keep notes made on a page.")
@click.argument(
    "files",
    nargs=-1,
    metavar="[FILE...]",
    type=click.Path(path_type=Path, dir_okay=False, exists=True),
)
@click.option(
    "--watch", "folder", type=click.Path(path_type=Path, file_okay=False, exists=True),
    metavar="FOLDER", help="Take the note files that arrive in this folder, until Ctrl-C.",
)  # fmt: skip
@click.option("--unlisted", is_flag=True, help="Accept a chip that is in no folio yet, as written.")
@yes_option
@shop_option
@folio_option
def take_command(
    files: tuple[Path, ...],
    folder: Path | None,
    unlisted: bool,
    yes: bool,
    shop_folder: Path | None,
    folio: Path | None,
) -> None:
    """Check note files that a page made, show each, and keep them in the shop's folder.

    The shop's name and today's date are put in. With --yes nothing is asked. A note that says the
    same as one of the same day is not taken again. With --watch, those in the folder already stay.

    \b
      pinfolio note take TQZ5752-46.note.yaml
      pinfolio note take --watch ~/Downloads --yes
    """
    if not files and folder is None:
        raise click.UsageError("no file is named; name one, or a folder with --watch FOLDER")
    shop = open_chosen_shop(shop_folder, to_change=True)
    _take(shop, files, folio, unlisted, yes)
    if folder is not None:
        _watch(shop, folder, folio, unlisted, yes)


def _watch(shop: Shop, folder: Path, folio: Path | None, unlisted: bool, yes: bool) -> None:
    """Take each note file that arrives in a folder, until Ctrl-C; a faulty one is named."""
    from ...loaders.shop.new_note_file import has_end
    from ...loaders.system.arriving_files import ArrivingFiles
    from ...schema.errors import PinfolioError
    from ...schema.text import visible

    if not yes and not on_terminal():
        raise BadInput("nobody can be asked here; let every note be kept with --yes")
    arriving = ArrivingFiles(folder, _NAMES, has_end)
    if arriving.already_there:
        click.echo(f"Note files there already, which stay: {arriving.already_there}", err=True)
    click.echo(visible(f"Waiting for note files in {folder}. Stop with Ctrl-C."), err=True)
    try:
        while True:
            for path in _look(arriving, folder):
                try:
                    _take(shop, (path,), folio, unlisted, yes)
                except (PinfolioError, click.ClickException) as refused:
                    reason = visible(str(refused), keep_lines=True)
                    click.echo(f"Not taken: {reason}", err=True)
            time.sleep(_LOOK_EVERY_S)
    except KeyboardInterrupt:
        click.echo("Stopped.", err=True)


def _look(arriving: ArrivingFiles, folder: Path) -> list[Path]:
    """Return the files that are complete now. Raises BadInput if the folder is gone."""
    try:
        return arriving.look()
    except OSError as fault:
        raise BadInput(f"{folder}: cannot be read ({fault.strerror}); name another") from None


def _take(
    shop: Shop, files: tuple[Path, ...], folio: Path | None, unlisted: bool, yes: bool
) -> None:
    """Check all files, then show each note and keep it."""
    from ...loaders.shop.note_files import load_own_notes
    from ...schema.text import visible
    from ..notes.note_content import name_content

    # All are checked before the first is kept: a faulty one leaves the folder as it was.
    notes = [_read(path, shop, folio, unlisted) for path in files]
    held = {name_content(note, with_date=True): note.id for note in load_own_notes(shop, [])}
    for path, note in zip(files, notes, strict=True):
        twin = held.setdefault(name_content(note, with_date=True), note.id)
        if twin != note.id:
            same = f"{path} says the same as the note {twin}; of another set, give its name"
            click.echo(visible(f"Not taken again: {same}"), err=True)
            continue
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
