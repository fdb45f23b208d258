"""What every command that works on a shop's folder shares: which one, and how it answers no."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from .command_common import BadInput

if TYPE_CHECKING:
    from ...loaders.shop.shop_folder import Shop
    from ...schema.note import Note

shop_option = click.option(
    "--shop",
    "shop_folder",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="The shop's folder. Else PINFOLIO_SHOP, else the one around here, else your own.",
)
yes_option = click.option("--yes", is_flag=True, help="Go ahead without asking.")


@contextmanager
def asked_shop(option: Path | None) -> Iterator[Shop]:
    """The shop meant, open; what cannot be done with it becomes one clear message."""
    from ...loaders.shop.shop_folder import find_shop, open_shop

    with refusals():
        yield open_shop(find_shop(option))


@contextmanager
def refusals() -> Iterator[None]:
    """What is wrong with a shop's folder, its notes or a bundle ends a command with status 2."""
    from ...loaders.errors import InvalidFileError
    from ...loaders.shop.bundle_reading import BundleError
    from ...loaders.shop.merging import MergeError
    from ...loaders.shop.shop_folder import ShopError
    from ...schema.text import visible

    try:
        yield
    except (BundleError, InvalidFileError, MergeError, ShopError) as refused:
        raise BadInput(visible(str(refused), keep_lines=True)) from None


def on_terminal() -> bool:
    """Whether somebody is there to be asked."""
    return sys.stdin.isatty()


def warn_of_personal(notes: Iterable[Note]) -> bool:
    """Name on the error stream what looks personal in notes; whether anything does."""
    from ...schema.text import visible
    from ..notes.personal_data import find_personal_data

    warned = [f"{note.chip} {note.at}, {one}" for note in notes for one in find_personal_data(note)]
    for line in warned:
        click.echo(visible(f"Personal? {line}"), err=True)
    return bool(warned)


def keep_note(shop: Shop, note: Note, attached: Iterable[bytes], yes: bool) -> Path:
    """Keep a revision in the shop's folder; when something in it looks personal, ask first."""
    from ...loaders.shop.note_files import add_note

    if warn_of_personal([note]) and not yes:
        click.confirm("Keep it all the same?", abort=True, err=True)
    return add_note(shop, note, attached)
