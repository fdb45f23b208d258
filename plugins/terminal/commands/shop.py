"""``pinfolio shop``: make a shop's folder, and show its key."""

from __future__ import annotations

from pathlib import Path

import click

from ..command_common import print_json
from ..instrument_choice import chosen, instrument_options
from ..shop_options import asked_shop, refusals, shop_option


@click.group("shop", short_help="Make a shop's folder; show its key.")
def shop_group() -> None:
    """A shop's folder holds its notes, its own chips, and what other shops sent.

    All of it is plain files, to be kept under version control or on a stick.
    """


@shop_group.command("init", short_help="Make a shop's folder.")
@click.argument("folder", required=False, type=click.Path(path_type=Path, file_okay=False))
@click.option(
    "--handle",
    prompt="Handle of the shop (small letters, digits, hyphens)",
    help="What other shops know it by: small letters, digits and hyphens.",
)
@click.option("--author", help="Handle of who writes its notes; else the shop's own.")
@instrument_options
def init_command(
    folder: Path | None,
    handle: str,
    author: str | None,
    meter: str | None,
    probe: str | None,
    scope: str | None,
) -> None:
    """Make a shop's folder with a key of its own. No name or address is asked for.

    Without FOLDER it goes where PINFOLIO_SHOP says, else among your own data.

    \b
      pinfolio shop init
      pinfolio shop init bench/ --handle bench-and-coil --probe "x10 probe"
    """
    from ....loaders.shop.shop_folder import init_shop, new_shop
    from ....loaders.shop.signing_key import fingerprint

    chosen(meter, probe, scope)
    with refusals():
        shop = init_shop(new_shop(folder), handle, author, meter, probe, scope)
    click.echo(
        f"{shop.folder}: the shop {shop.handle}; its key reads {fingerprint(shop.public_key)}"
    )
    click.echo("Keep .pinfolio-key to yourself: whoever has it can write in the shop's name.")


@shop_group.command("key", short_help="Show the public half of the shop's key.")
@shop_option
@click.option("--json", "as_json", is_flag=True, help="Answer as JSON.")
def key_command(shop_folder: Path | None, as_json: bool) -> None:
    """Show the public half of the key, and the short form of it to read over the telephone."""
    from ....loaders.shop.signing_key import fingerprint

    with asked_shop(shop_folder) as shop:
        public, short = shop.public_key.hex(), fingerprint(shop.public_key)
    if as_json:
        print_json({"shop": shop.handle, "public_key": public, "fingerprint": short})
        return
    click.echo(f"Shop         {shop.handle}\nPublic key   {public}\nIt reads     {short}")
