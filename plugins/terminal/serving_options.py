"""Shared by ``serve``, ``demo`` and ``preview``: address, port, password, and serving itself."""

from __future__ import annotations

import ipaddress
import os
import socket
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Final

import click

from .command_common import BadInput

if TYPE_CHECKING:
    from ..web.headers import App

_PORT: Final = 8150
_PASSWORD: Final = "PINFOLIO_PASSWORD"
_SHORTEST_PASSWORD: Final = 8

_OPEN_TO_NETWORK: Final = """\
Every machine that can reach this address can open the pages, with the password and any user name.
Visitors can read the whole folio and change nothing. The connection is not encrypted: anybody who
listens in on the network can read the password and the pages, unless it runs through an SSH tunnel
or a proxy with TLS.\
"""

host_option = click.option(
    "--host", default="127.0.0.1", show_default=True, help="Address to listen on."
)
port_option = click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=_PORT,
    show_default=True,
    help="Port to listen on; 0 takes any free port.",
)
password_option = click.option(
    "--password-file",
    type=click.Path(path_type=Path, dir_okay=False, exists=True),
    help="File whose first line is the password for visitors.",
)
sql_option = click.option(
    "--sql",
    "allow_sql",
    is_flag=True,
    help="With --host: visitors may run SQL of their own, as on this machine alone.",
)
proxy_option = click.option(
    "--proxy",
    metavar="ADDRESS",
    help="Address of a proxy whose word on the visitors' addresses is believed.",
)


def check_proxy(proxy: str | None) -> str | None:
    """Return the address of the proxy. Raises BadInput if it is not one."""
    try:
        return None if proxy is None else str(ipaddress.ip_address(proxy))
    except ValueError:
        raise BadInput(
            f"--proxy: found {proxy!r}, expected the address of the proxy, such as 192.168.1.2"
        ) from None


def choose_password(bound: socket.socket, file: Path | None) -> str | None:
    """Return the password for visitors; None on this machine alone, unless one is given.

    Raises BadInput for a short or unreadable password, or for none where one is needed.
    """
    from ..web.serving.server import is_loopback

    password = _read_password(file)
    if password is None and not is_loopback(bound):
        password = _ask_password(bound)
    if password is not None and len(password) < _SHORTEST_PASSWORD:
        raise BadInput(
            f"the password has {len(password)} characters; use {_SHORTEST_PASSWORD} or more"
        )
    return password


def _read_password(file: Path | None) -> str | None:
    if file is None:
        return os.environ.get(_PASSWORD)
    try:
        return next(iter(file.read_text(encoding="utf-8").splitlines()), "")
    except OSError as fault:
        raise BadInput(f"{file}: the password cannot be read ({fault.strerror})") from None
    except UnicodeDecodeError:
        raise BadInput(f"{file}: the password file is not UTF-8; save it as UTF-8 text") from None


def _ask_password(bound: socket.socket) -> str:
    host = bound.getsockname()[0]
    if not sys.stdin.isatty():
        raise BadInput(
            f"{host} is open to other machines; protect it with --password-file FILE or {_PASSWORD}"
        )
    click.echo(f"{host} can be reached from other machines. Visitors need a password.")
    typed: str = click.prompt("Password", hide_input=True, confirmation_prompt=True)
    return typed


def serve_folio(
    path: Path,
    host: str,
    port: int,
    password_file: Path | None,
    *,
    allow_sql: bool = False,
    proxy: str | None = None,
    shop: Path | None = None,
    or_any: bool = False,
    to_try: tuple[tuple[str, str], ...] = (),
) -> None:
    """Serve the folio at a path until interrupted, and print its address and things to try.

    With ``shop``, the notes of that folder are shown over it.

    Visitors from elsewhere may run SQL of their own only if ``allow_sql``. ``or_any`` takes another
    port if that one is in use; ``to_try`` holds labels and addresses below the root.

    Raises CannotListen, FolioError, ShopError, BadInput.
    """
    from ...schema.text import visible
    from ..web.serving.server import format_address, is_loopback, listen, serve

    proxy = check_proxy(proxy)
    bound = listen(host, port, or_any=or_any)
    password = choose_password(bound, password_file)
    address = format_address(bound)

    def print_address() -> None:
        click.echo(f"Open {address} in a browser. Stop with Ctrl-C.")
        shown = f"{path} with the notes in {shop}" if shop is not None else str(path)
        click.echo(visible(f"It shows {shown}"))
        if not is_loopback(bound):
            click.echo(_OPEN_TO_NETWORK)
        for number, (label, below) in enumerate(to_try, start=1):
            click.echo(f"  {number}. {label}: {address}{below}")

    settings = {"default_allow_sql": allow_sql or is_loopback(bound)}
    with _open_application(path, shop, settings) as application:
        serve(application, bound, print_address, password, proxy)


@contextmanager
def _open_application(path: Path, shop: Path | None, settings: dict[str, bool]) -> Iterator[App]:
    """Yield the application that shows a folio, with the notes of a shop over it if there is one.

    Raises FolioError, ShopError.
    """
    from ...schema.text import visible

    def tell(line: str) -> None:
        click.echo(visible(line), err=True)

    if shop is None:
        from ..web.serving.newest_folio import NewestFolio

        yield NewestFolio(path, tell, **settings)
        return
    from ..web.serving.shop_notes import ShopNotes

    with TemporaryDirectory(prefix="pinfolio-serve-") as folder:
        yield ShopNotes(path, shop, Path(folder), tell, **settings)
