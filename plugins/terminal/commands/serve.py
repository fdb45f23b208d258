"""``pinfolio serve`` and ``pinfolio demo``: the pages in a browser."""

from __future__ import annotations

import os
import socket
import sys
from pathlib import Path
from typing import Final

import click

from ..command_common import BadInput
from ..progress import progress_bar

_PORT: Final = 8150
_PASSWORD: Final = "PINFOLIO_PASSWORD"
_SHORTEST_PASSWORD: Final = 8

_OPENED: Final = """\
Every machine that can reach this address may ask; the password is asked for, with any user name.
Visitors can read all of the folio and change nothing. The connection is not encrypted: who listens
in on the network can read the password and the pages, unless they go through an SSH tunnel or a
proxy with TLS.\
"""

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


password_option = click.option(
    "--password-file",
    type=click.Path(path_type=Path, dir_okay=False, exists=True),
    help="File whose first line is the password to ask visitors for.",
)


def bound_to(host: str, port: int, *, or_any: bool = False) -> socket.socket:
    """A socket bound to the address, or BadInput with what else to try."""
    from ....schema.text import visible
    from ...web.serving.server import CannotListen, listen

    try:
        return listen(host, port, or_any=or_any)
    except CannotListen as refused:
        raise BadInput(visible(str(refused))) from None


def password_for(bound: socket.socket, file: Path | None) -> str | None:
    """What to ask visitors for; None on this machine, where nothing is asked unless given."""
    from ...web.serving.server import is_loopback

    given = _given_password(file)
    if given is None and not is_loopback(bound):
        given = _typed_password(bound)
    if given is not None and len(given) < _SHORTEST_PASSWORD:
        raise BadInput(
            f"found a password of {len(given)} characters, expected {_SHORTEST_PASSWORD} or more"
        )
    return given


def _given_password(file: Path | None) -> str | None:
    if file is None:
        return os.environ.get(_PASSWORD)
    try:
        return next(iter(file.read_text(encoding="utf-8").splitlines()), "")
    except OSError as fault:
        raise BadInput(f"{file}: no password can be read from it ({fault.strerror})") from None
    except UnicodeDecodeError:
        raise BadInput(f"{file}: found bytes that are not UTF-8, expected a line of text") from None


def _typed_password(bound: socket.socket) -> str:
    host = bound.getsockname()[0]
    if not sys.stdin.isatty():
        raise BadInput(
            f"{host} can be reached from other machines, so visitors must be asked for a password:"
            f" write it into a file and give --password-file FILE, or set {_PASSWORD}"
        )
    click.echo(f"{host} can be reached from other machines. Visitors are asked for a password.")
    typed: str = click.prompt("Password", hide_input=True, confirmation_prompt=True)
    return typed


@click.command("serve", short_help="Show a folio in a browser.")
@click.argument("folio", required=False, type=click.Path(path_type=Path, dir_okay=False))
@host_option
@port_option
@password_option
def serve_command(folio: Path | None, host: str, port: int, password_file: Path | None) -> None:
    """Serve a folio as pages, read-only, from this machine.

    A folio that is built in its place is shown from then on, without a restart. Beyond this
    machine pages are shown only to whoever has the password: asked for on the terminal, else
    the first line of the password file, else PINFOLIO_PASSWORD.

    \b
      pinfolio serve
      pinfolio serve folio.db --port 8200
      pinfolio serve folio.db --host 192.168.1.20 --password-file password.txt
    """
    from ....loaders import FolioError
    from ....loaders.folio.folio_choice import find_folio

    try:
        with progress_bar("Building the demonstration folio") as progress:
            path = find_folio(folio, progress)
        _serve(path, host, port, password_file, or_any=False, to_try=())
    except FolioError as fault:
        raise BadInput(str(fault)) from None


@click.command("demo", short_help="Build and show the demonstration folio.")
@host_option
@port_option
@password_option
def demo_command(host: str, port: int, password_file: Path | None) -> None:
    """Build the demonstration folio, whose chips are invented, and serve it.

    A taken port is no matter: another is taken, and the address printed.
    """
    from ....loaders import FolioError, open_folio
    from ....loaders.folio.folio_choice import ensure_demo_folio

    try:
        with progress_bar("Building the demonstration folio") as progress:
            path = ensure_demo_folio(progress)
        with open_folio(path) as opened:
            info = opened.info
        click.echo(f"Demonstration folio: {info.chips} chips, {info.pins} pins, all invented.")
        _serve(path, host, port, password_file, or_any=True, to_try=_TO_TRY)
    except FolioError as fault:
        raise BadInput(str(fault)) from None


def _serve(
    path: Path,
    host: str,
    port: int,
    password_file: Path | None,
    *,
    or_any: bool,
    to_try: tuple[tuple[str, str], ...],
) -> None:
    from ....schema.text import visible
    from ...web.serving.newest_folio import NewestFolio
    from ...web.serving.server import address_of, is_loopback, serve

    bound = bound_to(host, port, or_any=or_any)
    password = password_for(bound, password_file)
    newest = NewestFolio(path, tell=lambda line: click.echo(visible(line), err=True))
    address = address_of(bound)

    def ready() -> None:
        click.echo(f"Open {address} in a browser. Stop with Ctrl-C.")
        click.echo(visible(f"It shows {path}"))
        if not is_loopback(bound):
            click.echo(_OPENED)
        for number, (what, where) in enumerate(to_try, start=1):
            click.echo(f"  {number}. {what}: {address}{where}")

    serve(newest, bound, ready, password)
