"""``pinfolio preview``: a chip file as its pages while it is being written."""

from __future__ import annotations

import tempfile
from pathlib import Path

import click

from ..asking import BadInput
from ..serving.commands import host_option, port_option


@click.command("preview", short_help="A chip file as its pages, while you write it.")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False, exists=True))
@host_option
@port_option
def preview_command(file: Path, host: str, port: int) -> None:
    """Show a chip file's pages in a browser; they follow each save.

    Advice stands beside the pin it concerns. A save with faults shows them, and the last good
    pages stay.

    \b
      pinfolio preview ogx7342.yaml
    """
    from ..serving.serve import PortTaken, address_of, listen, serve_app
    from .preview import Preview

    try:
        bound = listen(host, port)
    except PortTaken as taken:
        raise BadInput(f"{taken}; choose another, or --port 0 for any free one") from None
    address = address_of(bound)
    with tempfile.TemporaryDirectory(prefix="pinfolio-preview-") as folder:
        preview = Preview(file, Path(folder))
        serve_app(preview, bound, lambda: click.echo(f"Open {address} in a browser. Stop: Ctrl-C."))
