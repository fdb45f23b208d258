"""Serve a folio as web pages.

The pages are read-only. A folio that replaces the served one is shown without a restart. With
--shop, the notes in a shop's folder are shown over it as they are now, without a build. With
--host, visitors need a password: prompted for, or taken from --password-file or PINFOLIO_PASSWORD.

\b
  pinfolio serve
  pinfolio serve folio.db --port 8200
  pinfolio serve --shop bench/
  pinfolio serve folio.db --host 192.168.1.20 --password-file password.txt
"""

from __future__ import annotations

from pathlib import Path

import click

from ..progress import progress_bar
from ..serving_options import (
    host_option,
    password_option,
    port_option,
    proxy_option,
    serve_folio,
    sql_option,
)


@click.command(help=__doc__)
@click.argument("folio", required=False, type=click.Path(path_type=Path, dir_okay=False))
@host_option
@port_option
@password_option
@sql_option
@proxy_option
@click.option(
    "--shop", type=click.Path(path_type=Path, file_okay=False, exists=True), metavar="DIR",
    help="Show the notes of this shop's folder over the folio.",
)  # fmt: skip
def command(
    folio: Path | None,
    host: str,
    port: int,
    password_file: Path | None,
    allow_sql: bool,
    proxy: str | None,
    shop: Path | None,
) -> None:
    from ....loaders.folio.folio_choice import find_folio

    with progress_bar("Building the demonstration folio") as progress:
        path = find_folio(folio, progress)
    serve_folio(path, host, port, password_file, allow_sql=allow_sql, proxy=proxy, shop=shop)
