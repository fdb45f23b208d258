"""``pinfolio publish`` and ``pinfolio fetch-folio``: a folio for other machines, and back."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ..command_common import BadInput
from ..progress import progress_bar
from ..shop_options import asked_shop, shop_option

if TYPE_CHECKING:
    from ....loaders.publishing.fetching import SignatureCheck
    from ....loaders.publishing.published_folder import Pages


@click.command("publish", short_help="Lay a folio out for any web server.")
@click.argument("folio", type=click.Path(path_type=Path, dir_okay=False))
@click.option(
    "-o",
    "--out",
    required=True,
    metavar="FOLDER",
    type=click.Path(path_type=Path, file_okay=False),
    help="The folder to lay it out in; made if it is not there.",
)
@click.option("--no-pages", is_flag=True, help="Only the folio, no pages: for very many chips.")
@click.option("--prune", is_flag=True, help="Take away what earlier editions left.")
@click.option("--sign", is_flag=True, help="Sign it with the key of your shop.")
@shop_option
def publish_command(
    folio: Path, out: Path, no_pages: bool, prune: bool, sign: bool, shop_folder: Path | None
) -> None:
    """Write a folder that any web server, object store or file share can hand out.

    It holds the folio, under a name made of its digest; a manifest; and the pages as plain
    files, which open without a server too. Publishing again writes only what is new; what the
    last edition needs stays until --prune.

    \b
      pinfolio publish folio.db -o public/
      pinfolio publish folio.db -o public/ --sign --prune
    """
    from ....loaders.publishing.published_folder import publish

    with _refusals(), progress_bar("Publishing") as progress:
        pages = None if no_pages else _pages()
        with asked_shop(shop_folder) if sign else nullcontext() as shop:
            done = publish(folio, out, pages, shop=shop, prune=prune, progress=progress)
    made = done.manifest
    click.echo(f"{out / made.folio.name}: {made.folio.size:,} bytes, {made.chips} chips")
    if made.pages:
        click.echo(f"{out / made.pages.name}: {made.pages.files} pages, {made.pages.size:,} bytes")
    if not done.is_new:
        click.echo("All of it was published already.")
    for name in done.removed:
        click.echo(f"Taken away: {out / name}")


@click.command("fetch-folio", short_help="Bring a published folio here, over the network.")
@click.argument("address", metavar="URL")
@click.option(
    "-o",
    "--out",
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Where to put it; else it becomes your own folio.",
)
@click.option(
    "--from-shop",
    metavar="HANDLE",
    help="Take it only with the signature of this shop, which `pinfolio shops` knows.",
)
@click.option("--older", is_flag=True, help="Take it even if the one that is here is newer.")
@shop_option
def fetch_command(
    address: str, out: Path | None, from_shop: str | None, older: bool, shop_folder: Path | None
) -> None:
    """Bring a folio that was published here, and put it in place once it is whole.

    This is the one command that goes on the network, to the address you give and nowhere else. Each
    piece is verified as it comes; when it breaks off, the same command goes on where it stopped.
    The folio that is here stays until the new one is whole, and nothing is fetched that is here.

    \b
      pinfolio fetch-folio https://folios.example/shop/ -o folio.db
      pinfolio fetch-folio /media/stick/public --from-shop bench-and-coil
    """
    from ....loaders.folio.download_origin import remember_fetch
    from ....loaders.folio.folio_choice import own_folio_path
    from ....loaders.publishing.download_source import Source
    from ....loaders.publishing.fetching import fetch_folio

    place = out or own_folio_path()
    with _refusals(), progress_bar("Fetching") as progress:
        check = _signature_of(from_shop, shop_folder) if from_shop else None
        fetched = fetch_folio(Source(address), place, progress, check, older=older)
    remember_fetch(place, _again(address, from_shop))
    made = fetched.manifest
    counts = f"{made.chips} chips, {made.pins} pins, built {made.built}"
    if fetched.received_bytes is None:
        click.echo(f"{place}: already up to date: {counts}")
    else:
        click.echo(f"{place}: {counts}; {fetched.received_bytes:,} bytes came")


def _again(address: str, from_shop: str | None) -> list[str]:
    """What to fetch the same folio with from any folder."""
    there = address if "://" in address else str(Path(address).absolute())
    return [there, *(["--from-shop", from_shop] if from_shop else [])]


def _pages() -> Pages:
    """What writes the pages, with a bar of its own."""
    from ....loaders.publishing.published_folder import Pages
    from ...web.publishing.static_pages import drawn_with, write_pages

    def with_bar(folio: Path, folder: Path) -> None:
        with progress_bar("Drawing pages") as progress:
            write_pages(folio, folder, progress)

    return Pages(with_bar, drawn_with())


def _signature_of(handle: str, shop_folder: Path | None) -> SignatureCheck:
    """Who takes a manifest only when the shop of this name signed it, by the key known here."""
    from ....loaders.publishing.download_signature import expect_signature
    from ....loaders.shop.known_shops import known_shops

    with asked_shop(shop_folder) as shop:
        known = known_shops(shop)
    if handle not in known:
        there = ", ".join(known) or "none"
        raise BadInput(f"The shop {handle!r} is not known here; known are: {there}")
    return expect_signature(handle, bytes.fromhex(known[handle].public_key))


@contextmanager
def _refusals() -> Iterator[None]:
    """What cannot be published or fetched: one clear message."""
    from ....loaders import FolioError
    from ....loaders.publishing.download_source import SourceError
    from ....loaders.publishing.fetching import FetchError
    from ....loaders.publishing.published_folder import PublishError
    from ....schema.text import visible

    try:
        yield
    except (FetchError, FolioError, PublishError, SourceError) as refused:
        raise BadInput(visible(str(refused))) from None
