"""Look for damages in a folio, a shop's folder or a published folder.

Every byte is read and nothing is written: seals, digests, signatures, notes and their attachments.
Each damage is one line, which ends with its remedy; the exit status is then 1. Chip files are
checked by pinfolio lint.

\b
  pinfolio verify folio.db
  pinfolio verify bench/
  pinfolio verify public/ --from-shop bench-and-coil
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from ..command_common import json_option, print_json
from ..shop_options import require_signature, shop_option


@click.command(help=__doc__)
@click.argument("path", type=click.Path(path_type=Path))
@click.option(
    "--from-shop",
    metavar="HANDLE",
    help="A published folder must be signed by this shop, one that `pinfolio shops` lists.",
)
@shop_option
@json_option
@click.pass_context
def command(
    ctx: click.Context, path: Path, from_shop: str | None, shop_folder: Path | None, as_json: bool
) -> None:
    """Print every damage; the exit status is 1 if there is one."""
    from ....loaders.verifying.verification import verify

    check = require_signature(from_shop, shop_folder) if from_shop else None
    document = verify(path, check)
    if as_json:
        print_json(document)
    else:
        _print_lines(document)
    if not document["sound"]:
        ctx.exit(1)


def _print_lines(document: dict[str, Any]) -> None:
    """Print a line for each damage, or one line that there is none."""
    from ....schema.text import visible

    for damage in document["damages"]:
        place = damage["file"] if damage["line"] == 1 else f"{damage['file']}:{damage['line']}"
        click.echo(visible(f"{place}: {damage['found']}: expected {damage['expected']}"))
    if document["sound"]:
        read = ", ".join(f"{count:,} {name}" for name, count in document["read"].items())
        click.echo(visible(f"{document['path']}: no damage; {document['sort']} with {read}"))
