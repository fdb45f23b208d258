"""List known shops; trust or mute one.

Lists every shop whose notes were merged here, with its state (trusted, known or muted) and the
fingerprint of its key. Trusted shops count one by one; known ones, whose key nobody compared, count
together as one shop in observed ranges and past faults; of muted ones nothing is shown.

\b
  pinfolio shops
  pinfolio shops trust bench-and-coil
  pinfolio shops mute bench-and-coil
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ..command_common import json_option, print_json
from ..shop_options import open_chosen_shop, shop_option, yes_option
from ..tables.shop_tables import print_rows

if TYPE_CHECKING:
    from ....loaders.shop.known_shops import State


@click.group(help=__doc__, invoke_without_command=True)
@json_option
@shop_option
@click.pass_context
def command(context: click.Context, as_json: bool, shop_folder: Path | None) -> None:
    from ....loaders.shop.known_shops import load_known_shops

    context.obj = shop_folder
    if context.invoked_subcommand is not None:
        return
    known = load_known_shops(open_chosen_shop(shop_folder))
    if as_json:
        from ...notes.note_documents import describe_known_shops

        print_json(describe_known_shops(known))
        return
    rows = [(handle, one.state, one.fingerprint) for handle, one in known.items()]
    print_rows(("Shop", "State", "Key reads"), rows)
    if not known:
        click.echo("No other shop is known here yet; notes come with: pinfolio merge FILE")


@command.command("trust", short_help="Trust a shop after comparing its key.")
@click.argument("handle")
@yes_option
@shop_option
@click.pass_obj
def trust_command(
    group_shop: Path | None, handle: str, yes: bool, shop_folder: Path | None
) -> None:
    """Trust a shop after comparing its key by voice; this also unmutes it."""
    from ....loaders.shop.known_shops import load_known_shops

    shop_folder = shop_folder or group_shop
    known = load_known_shops(open_chosen_shop(shop_folder)).get(handle)
    if known is not None and not yes:
        click.echo(f"The key of {handle} reads {known.fingerprint}")
        click.confirm("Did they read the same to you?", abort=True)
    _set_state(shop_folder, handle, "trusted")


@command.command("mute", short_help="Hide the notes of a shop.")
@click.argument("handle")
@shop_option
@click.pass_obj
def mute_command(group_shop: Path | None, handle: str, shop_folder: Path | None) -> None:
    """Hide the notes of a shop and merge no more of them; those received stay in its folder."""
    _set_state(shop_folder or group_shop, handle, "muted")


def _set_state(shop_folder: Path | None, handle: str, state: State) -> None:
    from ....loaders.shop.known_shops import set_state

    set_state(open_chosen_shop(shop_folder, to_change=True), handle, state)
    click.echo(f"{handle} is {state}.")
