"""``pinfolio shop device``: the computers that sign for a shop, each with a key of its own."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from .command_common import json_option, print_json
from .shop_options import open_chosen_shop, report_set_aside, shop_option, yes_option
from .tables.shop_tables import print_rows

if TYPE_CHECKING:
    from ...loaders.errors import Fault
    from ...loaders.keys.key_statements import Statement


@click.group("device", invoke_without_command=True, short_help="List, certify, revoke devices.")
@shop_option
@json_option
@click.pass_context
def device_command(context: click.Context, shop_folder: Path | None, as_json: bool) -> None:
    """List the shop's keys: its own, and one for each further computer.

    A second computer takes a copy of the shop's folder without .pinfolio-key, makes a key of its
    own, and is certified where the shop's key is. Its request is a file in the folder's keys/; it
    comes there as the notes do, by version control, synchronisation or a memory stick.

    \b
      pinfolio shop device
      pinfolio shop device new workshop-laptop        # on the second computer
      pinfolio shop device certify workshop-laptop    # on the first one
      pinfolio shop device revoke workshop-laptop     # when it is lost
    """
    if context.invoked_subcommand is not None:
        return
    from ..notes.key_documents import list_keys

    shop = open_chosen_shop(shop_folder)
    faults: list[Fault] = []
    shop.load_keys(faults)
    report_set_aside(faults)
    lines = list_keys(shop)
    if as_json:
        print_json({"shop": shop.handle, "keys": [line.document() for line in lines]})
        return
    rows = [
        (line.name, line.state, line.date or "", line.fingerprint, "here" if line.is_here else "")
        for line in lines
    ]
    print_rows(("Device", "State", "Since", "Key reads", "On this computer"), rows)


@device_command.command("new", short_help="Make this computer a device of the shop.")
@click.argument("name")
@shop_option
def new_command(name: str, shop_folder: Path | None) -> None:
    """Draw a key for this computer under NAME, such as workshop-laptop; other shops see the name.

    Until it is certified, its notes count on this computer only.
    """
    from ...loaders.keys.statement_files import KEYS, name_statement
    from ...loaders.shop.shop_devices import request_device

    shop = open_chosen_shop(shop_folder, to_change=True)
    request = request_device(shop, name)
    path = shop.folder / KEYS / name_statement(request)
    click.echo(f"{path}: {name} waits to be certified; its key reads {_read_out(request)}")
    click.echo(
        f"Bring this file to keys/ on the other computer: pinfolio shop device certify {name}"
    )


@device_command.command("certify", short_help="Let a waiting device sign for the shop.")
@click.argument("name")
@yes_option
@shop_option
def certify_command(name: str, yes: bool, shop_folder: Path | None) -> None:
    """Let the device NAME sign for the shop, after comparing its key with the one it shows."""
    from ...loaders.shop.shop_devices import certify_device, find_device

    shop = open_chosen_shop(shop_folder, to_change=True)
    request = find_device(shop.load_keys().waiting, name)
    click.echo(f"The key of {request.name} reads {_read_out(request)}")
    if not yes:
        click.confirm("Does that computer show the same?", abort=True)
    certify_device(shop, request.key)
    click.echo(f"{request.name} signs for {shop.handle}; its notes count wherever keys/ goes.")


@device_command.command("revoke", short_help="Let a device sign no more.")
@click.argument("name")
@yes_option
@shop_option
def revoke_command(name: str, yes: bool, shop_folder: Path | None) -> None:
    """Let the device NAME sign no more, permanently: it was lost, sold or read by somebody else.

    Its notes that are here stay, and are signed by the shop's key; later ones are set aside. Other
    shops learn of it with the next bundle.
    """
    from ...loaders.shop.shop_devices import find_device, revoke_device

    shop = open_chosen_shop(shop_folder, to_change=True)
    keys = shop.load_keys()
    device = find_device((*keys.devices, *keys.waiting), name)
    click.echo(f"The key of {device.name} reads {_read_out(device)}")
    if not yes:
        click.confirm("Revoke it permanently?", abort=True)
    revoke_device(shop, device.key)
    click.echo(f"{device.name} is revoked; share a bundle, so that other shops learn of it.")


def _read_out(statement: Statement) -> str:
    from ...loaders.keys.signing_key import format_fingerprint

    return format_fingerprint(bytes.fromhex(statement.key))
