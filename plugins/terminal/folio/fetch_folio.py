"""Fetch a published folio.

This is the only command that uses the network, and only the address you give. Every piece is
verified; after a broken connection, run the same command again to resume. The existing folio stays
until the new one is complete, and pieces already here are not fetched again.

\b
  pinfolio fetch-folio https://folios.example/shop/ -o folio.db
  pinfolio fetch-folio /media/stick/public --from-shop bench-and-coil
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ..command_common import BadInput
from ..progress import progress_bar
from ..shop_options import open_chosen_shop, shop_option

if TYPE_CHECKING:
    from ....loaders.publishing.fetching import SignatureCheck


@click.command(help=__doc__)
@click.argument("address", metavar="URL")
@click.option(
    "-o",
    "--out",
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="File to write; default: your own folio.",
)
@click.option(
    "--from-shop",
    metavar="HANDLE",
    help="Accept only the signature of this shop, one that `pinfolio shops` lists.",
)
@click.option("--older", is_flag=True, help="Accept it even if the folio here is newer.")
@shop_option
def command(
    address: str, out: Path | None, from_shop: str | None, older: bool, shop_folder: Path | None
) -> None:
    from ....loaders.folio.download_origin import remember_fetch
    from ....loaders.folio.folio_choice import locate_own_folio
    from ....loaders.publishing.download_source import Source
    from ....loaders.publishing.fetching import fetch_folio

    place = out or locate_own_folio()
    check = _require_signature(from_shop, shop_folder) if from_shop else None
    with progress_bar("Fetching") as progress:
        fetched = fetch_folio(Source(address), place, progress, check, older=older)
    remember_fetch(place, _repeat_arguments(address, from_shop))
    made = fetched.manifest
    counts = f"{made.chips} chips, {made.pins} pins, built {made.built}"
    if fetched.received_bytes is None:
        click.echo(f"{place}: already up to date: {counts}")
    else:
        click.echo(f"{place}: {counts}; {fetched.received_bytes:,} bytes fetched")


def _repeat_arguments(address: str, from_shop: str | None) -> list[str]:
    """Return the arguments that fetch the same folio from any working folder."""
    there = address if "://" in address else str(Path(address).absolute())
    return [there, *(["--from-shop", from_shop] if from_shop else [])]


def _require_signature(handle: str, shop_folder: Path | None) -> SignatureCheck:
    """Return a check that accepts only a manifest signed with a key of this known shop."""
    from ....loaders.keys.statement_files import KEYS, load_keys
    from ....loaders.publishing.download_signature import expect_signature
    from ....loaders.shop.known_shops import load_known_shops

    shop = open_chosen_shop(shop_folder)
    known = load_known_shops(shop)
    if handle not in known:
        there = ", ".join(known) or "none"
        raise BadInput(f"the shop {handle!r} is not known here; known are: {there}")
    one = known[handle]
    keys = load_keys(shop.received / handle / KEYS, one.public_key, to_remember=False)
    return expect_signature(one.handle or handle, *map(bytes.fromhex, keys.signers))
