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

import click

from ..progress import progress_bar
from ..shop_options import require_signature, shop_option


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
    check = require_signature(from_shop, shop_folder) if from_shop else None
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
