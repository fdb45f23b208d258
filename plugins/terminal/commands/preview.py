"""``pinfolio preview``: a chip file as its pages while it is being written."""

from __future__ import annotations

import tempfile
from pathlib import Path

import click

from .serve import bound_to, host_option, password_for, password_option, port_option


@click.command("preview", short_help="A chip file as its pages, while you write it.")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False, exists=True))
@host_option
@port_option
@password_option
def preview_command(file: Path, host: str, port: int, password_file: Path | None) -> None:
    """Show a chip file's pages in a browser; they follow each save.

    Advice stands beside the pin it concerns. A save with faults shows them, and the last good
    pages stay.

    \b
      pinfolio preview ogx7342.yaml
    """
    from ...web.preview import Preview
    from ...web.serving.server import address_of, serve

    bound = bound_to(host, port)
    password = password_for(bound, password_file)
    address = address_of(bound)

    def ready() -> None:
        click.echo(f"Open {address} in a browser. Stop: Ctrl-C.")

    with tempfile.TemporaryDirectory(prefix="pinfolio-preview-") as folder:
        preview = Preview(file, Path(folder))
        serve(preview, bound, ready, password)
