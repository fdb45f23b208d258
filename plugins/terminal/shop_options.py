"""Shared by the commands that work on a shop's folder: its options, and keeping a note there."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from .command_common import BadInput

if TYPE_CHECKING:
    from ...loaders.errors import Fault
    from ...loaders.publishing.fetching import SignatureCheck
    from ...loaders.shop.shop_folder import Shop
    from ...schema import Chip
    from ...schema.note import Note

shop_option = click.option(
    "--shop",
    "shop_folder",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="The shop's folder; default: PINFOLIO_SHOP, else the one around here, else your own.",
)
yes_option = click.option("--yes", is_flag=True, help="Do not ask for confirmation.")


def open_chosen_shop(option: Path | None, *, to_change: bool = False) -> Shop:
    """Return the shop that a command works on, for reading unless ``to_change``.

    A change that was interrupted is named on standard error until a command that changes the shop
    finishes it. Raises ShopError.
    """
    from ...loaders.shop.shop_folder import open_shop
    from ...loaders.shop.shop_place import find_shop
    from ...loaders.system.folder_changes import has_unfinished_change

    shop = open_shop(find_shop(option), to_change=to_change)
    if has_unfinished_change(shop.folder):
        click.echo(
            f"{shop.folder}: the last change was interrupted; the next note or merge finishes it.",
            err=True,
        )
    return shop


def has_chosen_shop(option: Path | None) -> bool:
    """Return whether there is a shop's folder for a command to work on."""
    from ...loaders.shop.shop_place import find_shop, is_shop

    return is_shop(find_shop(option))


def load_notes(shop: Shop) -> list[Note]:
    """Return the notes of a shop's folder; name those set aside on standard error.

    Raises ShopError.
    """
    from ...loaders.shop.note_files import load_all_notes

    set_aside: list[Fault] = []
    notes = load_all_notes(shop, set_aside)
    report_set_aside(set_aside)
    if set_aside:
        click.echo(f"{len(set_aside)} set aside, named above.", err=True)
    return notes


def report_set_aside(faults: Iterable[Fault]) -> None:
    """Name on standard error the notes that were left out, and their attachments."""
    for fault in faults:
        click.echo(f"Set aside: {fault}", err=True)


def count_set_aside(faults: Sequence[Fault]) -> str:
    """Return the end of a summary that has something set aside, else nothing."""
    return f"; {len(faults)} set aside" if faults else ""


def require_signature(handle: str, shop_folder: Path | None) -> SignatureCheck:
    """Return a check that accepts only a manifest signed with a key of this known shop.

    Raises BadInput for an unknown one, ShopError.
    """
    from ...loaders.keys.statement_files import KEYS, load_keys
    from ...loaders.publishing.download_signature import expect_signature
    from ...loaders.shop.known_shops import load_known_shops

    shop = open_chosen_shop(shop_folder)
    known = load_known_shops(shop)
    if handle not in known:
        there = ", ".join(known) or "none"
        raise BadInput(f"the shop {handle!r} is not known here; known are: {there}")
    one = known[handle]
    keys = load_keys(shop.received / handle / KEYS, one.public_key, to_remember=False)
    return expect_signature(one.handle or handle, *map(bytes.fromhex, keys.signers))


def on_terminal() -> bool:
    """Return whether somebody can be asked."""
    return sys.stdin.isatty()


def warn_of_personal_data(notes: Iterable[Note]) -> bool:
    """List possible personal data on standard error; return whether there is any."""
    from ...schema.text import visible
    from ..notes.personal_data import find_personal_data

    warnings = [
        f"{note.chip} {note.at}, {one}" for note in notes for one in find_personal_data(note)
    ]
    for warning in warnings:
        click.echo(visible(f"Personal? {warning}"), err=True)
    return bool(warnings)


def require_reason(note: Note, chip: Chip | None) -> Note:
    """Return the note, with a reason where something in it is hardly possible.

    On a terminal the reason is asked for. Raises BadForm where nobody can be asked.
    """
    from datetime import date

    from ...schema.text import visible
    from ..notes.note_form import BadForm
    from ..notes.plausibility import list_doubts, state_reason

    doubts = () if note.reason else list_doubts(note, chip, date.today())
    if not doubts:
        return note
    if not on_terminal():
        raise BadForm(
            f"{note.chip} {note.at}: {'; '.join(doubts)}"
            "; correct it, or say why it is right with --reason, in a file on a line 'reason:'"
        )
    for doubt in doubts:
        click.echo(visible(f"Hardly possible: {doubt}"), err=True)
    return state_reason(note, click.prompt("Why it is right all the same", err=True))


def keep_note(
    shop: Shop,
    note: Note,
    attachments: Iterable[bytes],
    is_confirmed: bool,
    chip: Chip | None = None,
) -> Path:
    """Write a revision into the shop's folder and return its path.

    Facts that are hardly possible need a reason; possible personal data is asked about unless
    ``is_confirmed``. With ``chip`` the note is anchored at its place there.
    """
    from ...loaders.shop.note_anchors import anchor_note
    from ...loaders.shop.note_files import add_note

    note = require_reason(note, chip)
    if chip is not None:
        note = anchor_note(note, chip)
    # The warning is printed even where nobody is asked.
    if warn_of_personal_data([note]) and not is_confirmed:
        click.confirm("Keep it all the same?", abort=True, err=True)
    return add_note(shop, note, attachments)
