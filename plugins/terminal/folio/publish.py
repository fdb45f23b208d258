"""Lay a folio out as files for any web server.

The folder holds the folio under a name made of its digest, a manifest, and the pages as plain
files, which also open without a server. Publishing again writes only new files; older editions
stay until --prune.

\b
  pinfolio publish folio.db -o public/
  pinfolio publish folio.db -o public/ --sign --prune
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ..progress import progress_bar
from ..shop_options import open_chosen_shop, shop_option

if TYPE_CHECKING:
    from ....loaders.publishing.published_folder import Pages


@click.command(help=__doc__)
@click.argument("folio", type=click.Path(path_type=Path, dir_okay=False))
@click.option(
    "-o",
    "--out",
    required=True,
    metavar="FOLDER",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder to write; created if missing.",
)
@click.option(
    "--no-pages", is_flag=True, help="Write the folio without pages, for very many chips."
)
@click.option("--prune", is_flag=True, help="Remove the files of earlier editions.")
@click.option("--sign", is_flag=True, help="Sign it with your shop's key.")
@shop_option
def command(
    folio: Path, out: Path, no_pages: bool, prune: bool, sign: bool, shop_folder: Path | None
) -> None:
    from ....loaders.publishing.published_folder import publish

    pages = None if no_pages else _choose_pages()
    shop = open_chosen_shop(shop_folder) if sign else None
    with progress_bar("Publishing") as progress:
        done = publish(folio, out, pages, shop=shop, prune=prune, progress=progress)
    made = done.manifest
    click.echo(f"{out / made.folio.name}: {made.folio.size:,} bytes, {made.chips} chips")
    if made.pages:
        click.echo(f"{out / made.pages.name}: {made.pages.files} pages, {made.pages.size:,} bytes")
    if not done.is_new:
        click.echo("Everything was published already.")
    for name in done.removed:
        click.echo(f"Removed: {out / name}")


def _choose_pages() -> Pages:
    """Return the writer of the pages, which shows its own progress bar."""
    from ....loaders.publishing.published_folder import Pages
    from ...web.publishing.static_pages import hash_page_sources, write_pages

    def with_bar(folio: Path, folder: Path) -> None:
        with progress_bar("Drawing pages") as progress:
            write_pages(folio, folder, progress)

    return Pages(with_bar, hash_page_sources())
