"""``pinfolio serve`` and ``pinfolio demo``: the pages in a browser."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import click

from ..asking import BadInput
from ..progress import progress_bar

_PORT: Final = 8150

_TO_TRY: Final = (
    ("type what is left of a marking", "find?q=5752"),
    ("the sync input of a PAL jungle", "chip/TQZ5752/13"),
    ("which pin takes the burst key pulse", "find?q=burst+key"),
)

host_option = click.option(
    "--host", default="127.0.0.1", show_default=True, help="Address to listen on."
)
port_option = click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=_PORT,
    show_default=True,
    help="Port to listen on; 0 takes a free one.",
)


@click.command("serve", short_help="Show a folio in a browser.")
@click.argument("folio", required=False, type=click.Path(path_type=Path, dir_okay=False))
@host_option
@port_option
def serve_command(folio: Path | None, host: str, port: int) -> None:
    """Serve a folio as pages, read-only, from this machine.

    \b
      pinfolio serve
      pinfolio serve folio.db --port 8200
    """
    from ...loaders import FolioError
    from ...loaders.which_folio import find_folio

    try:
        with progress_bar("Building the demonstration folio") as progress:
            path = find_folio(folio, progress)
        _serve(path, host, port, or_any=False, to_try=())
    except FolioError as fault:
        raise BadInput(str(fault)) from None


@click.command("demo", short_help="Build and show the demonstration folio.")
@host_option
@port_option
def demo_command(host: str, port: int) -> None:
    """Build the demonstration folio, whose chips are invented, and serve it.

    A taken port is no matter: another is taken, and the address printed.
    """
    from ...loaders import FolioError, open_folio
    from ...loaders.which_folio import demo_folio

    try:
        with progress_bar("Building the demonstration folio") as progress:
            path = demo_folio(progress)
        with open_folio(path) as opened:
            info = opened.info
        click.echo(f"Demonstration folio: {info.chips} chips, {info.pins} pins, all invented.")
        _serve(path, host, port, or_any=True, to_try=_TO_TRY)
    except FolioError as fault:
        raise BadInput(str(fault)) from None


def _serve(
    path: Path, host: str, port: int, *, or_any: bool, to_try: tuple[tuple[str, str], ...]
) -> None:
    from .serve import PortTaken, address_of, datasette_for, listen, serve

    datasette = datasette_for(path)
    try:
        bound = listen(host, port, or_any=or_any)
    except PortTaken as taken:
        raise BadInput(f"{taken}; choose another, or --port 0 for any free one") from None
    address = address_of(bound)

    def ready() -> None:
        click.echo(f"Open {address} in a browser. Stop with Ctrl-C.")
        for number, (what, where) in enumerate(to_try, start=1):
            click.echo(f"  {number}. {what}: {address}{where}")

    serve(datasette, bound, ready)
