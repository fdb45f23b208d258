"""``pinfolio shop key``: show the shop's key, back it up, restore it, change it for another."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Final

import click

from .command_common import BadInput, json_option, print_json, read_input
from .shop_options import open_chosen_shop, shop_option, yes_option

_MOST_BYTES: Final = 10_000

passphrase_option = click.option(
    "--passphrase-file",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="File whose first line is the passphrase; default: asked for.",
)


@click.group("key", invoke_without_command=True, short_help="Show, back up or change the key.")
@shop_option
@json_option
@click.pass_context
def key_command(context: click.Context, shop_folder: Path | None, as_json: bool) -> None:
    """Show the shop's public key, and its fingerprint to read out over the telephone.

    \b
      pinfolio shop key
      pinfolio shop key backup stick/our-key.backup
      pinfolio shop key rotate
    """
    if context.invoked_subcommand is not None:
        return
    from ..notes.key_documents import describe_key

    shop = open_chosen_shop(shop_folder)
    document = describe_key(shop)
    if as_json:
        print_json(document)
        return
    click.echo(f"Shop         {shop.handle}\nPublic key   {document['public_key']}")
    click.echo(f"It reads     {document['fingerprint']}")
    if document["first_key"] != document["public_key"]:
        click.echo(f"First key    {document['first_key']}")
    if document["is_disputed"]:
        remedy = "name them: pinfolio shop device"
        click.echo(f"The key was changed twice, and the changes contradict each other; {remedy}")


@key_command.command("backup", short_help="Write the key to an encrypted file.")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@passphrase_option
@shop_option
def backup_command(file: Path, passphrase_file: Path | None, shop_folder: Path | None) -> None:
    """Write the shop's key and its statements about devices to FILE, encrypted by a passphrase.

    The file is opened again to prove that it works. Keep it away from this computer; without it or
    the passphrase a lost key is lost, and the shop has to begin anew with another key.

    \b
      pinfolio shop key backup stick/our-key.backup
    """
    from ...loaders.shop.shop_backup import write_backup

    shop = open_chosen_shop(shop_folder)
    write_backup(shop, file, _choose_passphrase(passphrase_file, is_new=True))
    click.echo(f"{file}: the key of {shop.handle}, encrypted; opened again with this passphrase.")
    click.echo("Make another backup after every change of the key: pinfolio shop key rotate")


@key_command.command("restore", short_help="Take the key from an encrypted file.")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@passphrase_option
@shop_option
def restore_command(file: Path, passphrase_file: Path | None, shop_folder: Path | None) -> None:
    """Take the shop's key from FILE into a copy of the shop's folder, or into a new folder.

    Notes come back from a copy of the folder, or by merging bundles that the shop shared.

    \b
      pinfolio shop key restore stick/our-key.backup --shop bench/
    """
    from ...loaders.keys.signing_key import format_fingerprint
    from ...loaders.shop.shop_backup import restore_backup
    from ...loaders.shop.shop_place import find_shop

    folder = find_shop(shop_folder)
    shop = restore_backup(file, folder, _choose_passphrase(passphrase_file, is_new=False))
    public = shop.find_public_key() or ""
    reads = format_fingerprint(bytes.fromhex(public))
    click.echo(f"{shop.folder}: the shop {shop.handle}; its key reads {reads}")


@key_command.command("rotate", short_help="Change the key for a new one.")
@yes_option
@shop_option
def rotate_command(yes: bool, shop_folder: Path | None) -> None:
    """Make a new key the shop's key, signed by the old one, which then signs nothing more.

    Do so when somebody else may have read the old key. Devices and notes of the shop stay; other
    shops learn of it with the next bundle, and compare the new key by voice.
    """
    from ...loaders.keys.signing_key import format_fingerprint
    from ...loaders.shop.shop_devices import rotate_key

    shop = open_chosen_shop(shop_folder, to_change=True)
    if not yes:
        click.confirm("Change the shop's key? The old one signs nothing more", abort=True, err=True)
    rotation = rotate_key(shop)
    reads = format_fingerprint(bytes.fromhex(rotation.key))
    click.echo(f"{shop.handle}: the new key reads {reads}")
    click.echo("Next: pinfolio shop key backup FILE, and share a bundle with the other shops.")


def _choose_passphrase(file: Path | None, *, is_new: bool) -> str:
    """Return the passphrase in a file, or as typed; raises BadInput."""
    if file is not None:
        try:
            text = read_input(file, _MOST_BYTES).decode("utf-8")
        except UnicodeDecodeError:
            raise BadInput(f"{file}: not UTF-8; save the passphrase as UTF-8 text") from None
        return next(iter(text.splitlines()), "")
    if not sys.stdin.isatty():
        raise BadInput("a passphrase is needed, and nobody can be asked; use --passphrase-file")
    typed: str = click.prompt("Passphrase", hide_input=True, confirmation_prompt=is_new, err=True)
    return typed
