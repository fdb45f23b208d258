"""Serve a folio with uvicorn: read-only, from this machine, without calling out."""

from __future__ import annotations

import asyncio
import errno
import ipaddress
import socket
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from ....schema.errors import PinfolioError
from ..headers import with_security_headers
from .authentication import Door
from .edition import Edition
from .request_limits import within_limits

if TYPE_CHECKING:
    from datasette.app import Datasette

    from ..headers import App

# uvicorn's limits for a connection; time limits for slow ones are in timeouts.py.
_UVICORN: Final[dict[str, Any]] = {
    "log_level": "warning",
    "ws": "none",
    "limit_concurrency": 256,
    "timeout_keep_alive": 5,
    "timeout_graceful_shutdown": 5,
    "h11_max_incomplete_event_size": 32_768,
    "server_header": False,
    "proxy_headers": False,
}


class CannotListen(PinfolioError):  # noqa: N818  raised as the answer "not there"
    """The address cannot be listened on; the message names the reason and an alternative."""


def open_datasette(folio: Path, **settings: Any) -> Datasette:
    """Return Datasette with the folio now at a path. Raises FolioError."""
    return Edition(folio, **settings).datasette


def listen(host: str, port: int, *, or_any: bool = False) -> socket.socket:
    """Return a socket bound to an address; ``or_any`` takes any free port if that one is in use.

    Raises CannotListen.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    bound = socket.socket(family, socket.SOCK_STREAM)
    bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        bound.bind((host, port))
    except OSError as fault:
        bound.close()
        if or_any and fault.errno == errno.EADDRINUSE:
            return listen(host, 0)
        raise CannotListen(f"{host} port {port}: {_suggest_instead(fault)}") from None
    return bound


def _suggest_instead(fault: OSError) -> str:
    """Return the reason why an address cannot be bound, with a remedy."""
    if fault.errno == errno.EADDRINUSE:
        return (
            "somebody else listens there, perhaps another pinfolio; choose another port, or"
            " --port 0 for any free one"
        )
    if fault.errno == errno.EACCES:
        return "only the system itself may listen there; choose a port from 1024 on"
    return (
        f"this machine has no such address ({fault.strerror}); choose one that it has, 127.0.0.1"
        " for this machine alone, 0.0.0.0 for all"
    )


def format_address(bound: socket.socket) -> str:
    """Return the web address of a bound socket; by host name if it is bound to all addresses."""
    host, port = bound.getsockname()[:2]
    host = socket.gethostname() if host in ("0.0.0.0", "::") else host
    return f"http://[{host}]:{port}/" if ":" in host else f"http://{host}:{port}/"


def is_loopback(bound: socket.socket) -> bool:
    """Return whether a bound socket can be reached from this machine only."""
    return ipaddress.ip_address(bound.getsockname()[0].partition("%")[0]).is_loopback


def serve(
    app: App,
    bound: socket.socket,
    ready: Callable[[], None],
    password: str | None = None,
    proxy: str | None = None,
) -> None:
    """Serve an application until interrupted, to this machine or visitors with the password.

    ``ready`` is called when the server accepts requests. The addresses of visitors that ``proxy``
    passes on (X-Forwarded-For) are believed, and those of nobody else.
    """
    assert password is not None or is_loopback(bound)
    guarded = with_security_headers(Door(within_limits(app), password))
    try:
        asyncio.run(_run(guarded, bound, ready, proxy))
    except KeyboardInterrupt:
        pass
    finally:
        bound.close()


async def _run(
    app: App, bound: socket.socket, ready: Callable[[], None], proxy: str | None
) -> None:
    """Serve until the process is told to stop; call ``ready`` once it answers."""
    import uvicorn

    from .timeouts import PatientProtocol

    settings = _UVICORN | ({"proxy_headers": True, "forwarded_allow_ips": proxy} if proxy else {})
    server = uvicorn.Server(uvicorn.Config(app, http=PatientProtocol, **settings))
    serving = asyncio.create_task(server.serve(sockets=[bound]))
    while not server.started and not serving.done():
        await asyncio.sleep(0.02)
    if server.started:
        ready()
    await serving
