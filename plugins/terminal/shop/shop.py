"""Create a shop's folder; its key and its devices; mend it.

The folder holds the shop's notes, its own chips, and the notes received from other shops, all as
plain files that can be kept under version control or on a memory stick.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from ..instrument_choice import (
    choose_instruments,
    choose_tester,
    counter_option,
    instrument_options,
    tester_option,
)
from ..shop_device_commands import device_command
from ..shop_key_commands import key_command
from ..shop_options import open_chosen_shop, shop_option, yes_option

if TYPE_CHECKING:
    from ....loaders.shop.shop_folder import Shop

_MOST_SHOWN: Final = 20


@click.group(help=__doc__)
def command() -> None:
    """Hold the subcommands."""


@command.command("init", short_help="Create a shop's folder.")
@click.argument("folder", required=False, type=click.Path(path_type=Path, file_okay=False))
@click.option(
    "--handle",
    prompt="Handle of the shop (small letters, digits, hyphens)",
    help="Name by which other shops know it: small letters, digits and hyphens.",
)
@click.option("--author", help="Handle of the author of its notes; default: the shop's handle.")
@instrument_options
@counter_option
@tester_option
def init_command(
    folder: Path | None,
    handle: str,
    author: str | None,
    meter: str | None,
    probe: str | None,
    scope: str | None,
    counter: str | None,
    tester: str | None,
) -> None:
    """Create a shop's folder with a new key. No name or address is asked for.

    Default for FOLDER: PINFOLIO_SHOP, else a folder in your own data.

    \b
      pinfolio shop init
      pinfolio shop init bench/ --handle bench-and-coil --probe "x10 probe"
    """
    from ....loaders.keys.signing_key import format_fingerprint
    from ....loaders.shop.shop_folder import init_shop
    from ....loaders.shop.shop_place import choose_new_folder

    choose_instruments(meter, probe, scope, counter)
    choose_tester(tester)
    usual = (meter, probe, scope, counter, tester)
    shop = init_shop(choose_new_folder(folder), handle, author, *usual)
    reads = format_fingerprint(shop.public_key)
    click.echo(f"{shop.folder}: the shop {shop.handle}; its key reads {reads}")
    click.echo("Keep .pinfolio-key to yourself: anybody who has it can write in the shop's name.")
    click.echo("Keep a copy of it, encrypted: pinfolio shop key backup FILE")


@command.command("mend", short_help="Merge copies, or sign again what an older copy brought.")
@click.option(
    "--sign-again", is_flag=True,
    help="Sign again the notes that an earlier key of this shop or a revoked device had signed.",
)  # fmt: skip
@yes_option
@shop_option
def mend_command(sign_again: bool, yes: bool, shop_folder: Path | None) -> None:
    """Merge conflict copies, such as "shops (conflicted copy).toml" or "notes-laptop.jsonl".

    When two computers change one file of a synchronised folder, a second copy of it appears. All
    that a copy adds is merged; the copy itself is moved to set-aside/ in the shop's folder.

    An older copy of the folder may bring back notes signed by a key that ended since; they are set
    aside. --sign-again shows them, and on your word they count again, all at once.
    """
    from ....loaders.shop.copy_merging import merge_conflict_copies
    from ....schema.text import visible

    shop = open_chosen_shop(shop_folder, to_change=True)
    copies = merge_conflict_copies(shop)
    for copy in copies:
        click.echo(visible(f"{copy.path}: a copy of {copy.original.name}"))
    count = f"{len(copies)} merged and moved to set-aside/."
    click.echo(count if copies else "There are no copies.")
    if sign_again:
        _sign_again(shop, yes)


def _sign_again(shop: Shop, yes: bool) -> None:
    """Show the notes that ended keys signed, and sign them again once that is confirmed."""
    from ....loaders.shop.ended_signatures import list_ended_signatures, sign_ended_again
    from ....schema.text import visible
    from ...notes.note_view import RevisionView

    ended = list_ended_signatures(shop)
    if not ended:
        click.echo("There is nothing that an ended key signed.")
        return
    for one in ended:
        received = f" and {one.received} notes of other shops" if one.received else ""
        click.echo(visible(f"{len(one.notes)} own notes{received}; {one.reason}:"), err=True)
        for note in one.notes[-_MOST_SHOWN:]:
            words = RevisionView(note).sentence
            click.echo(visible(f"  {note.chip} {note.at}: {words}"), err=True)
        if len(one.notes) > _MOST_SHOWN:
            click.echo(f"  and {len(one.notes) - _MOST_SHOWN} earlier ones", err=True)
    if not yes:
        question = "Anyone with such a key could have written them. Sign all as your own words?"
        click.confirm(question, abort=True, err=True)
    sign_ended_again(shop, ended)
    click.echo(f"{sum(len(one.notes) for one in ended)} notes are signed again.")


command.add_command(key_command)
command.add_command(device_command)
