"""Show a chip file as pages that follow each save.

Advice appears beside the pin it concerns. If a save has faults, they are listed and the last good
pages stay.

\b
  pinfolio preview ogx7342.yaml
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import click

from ..serving_options import choose_password, host_option, password_option, port_option


@click.command(help=__doc__)
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False, exists=True))
@host_option
@port_option
@password_option
def command(file: Path, host: str, port: int, password_file: Path | None) -> None:
    from ...web.preview import Preview
    from ...web.serving.server import format_address, listen, serve

    bound = listen(host, port)
    password = choose_password(bound, password_file)
    address = format_address(bound)

    def print_address() -> None:
        click.echo(f"Open {address} in a browser. Stop with Ctrl-C.")

    with tempfile.TemporaryDirectory(prefix="pinfolio-preview-") as folder:
        preview = Preview(file, Path(folder))
        serve(preview, bound, print_address, password)
