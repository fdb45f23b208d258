"""Build and serve the demonstration folio.

All its chips are invented. If the port is in use, another one is taken.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

import click

from ..progress import progress_bar
from ..serving_options import host_option, password_option, port_option, serve_folio

_TO_TRY: Final = (
    ("type the legible part of a marking", "find?q=5752"),
    ("the sync input of a PAL jungle", "chip/TQZ5752/13"),
    ("which pin takes the burst key pulse", "find?q=burst+key"),
)


@click.command(help=__doc__)
@host_option
@port_option
@password_option
def command(host: str, port: int, password_file: Path | None) -> None:
    from ....loaders import open_folio
    from ....loaders.folio.folio_choice import ensure_demo_folio

    with progress_bar("Building the demonstration folio") as progress:
        path = ensure_demo_folio(progress)
    with open_folio(path) as opened:
        info = opened.info
    click.echo(f"Demonstration folio: {info.chips} chips, {info.pins} pins, all invented.")
    serve_folio(path, host, port, password_file, or_any=True, to_try=_TO_TRY)
