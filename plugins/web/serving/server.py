"""A folio behind uvicorn: read-only, from this machine, with no call to anywhere."""

from __future__ import annotations

import asyncio
import errno
import ipaddress
import socket
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from ....schema.errors import PinfolioError
from .authentication import Door
from .edition import Edition
from .request_limits import within_limits

if TYPE_CHECKING:
    from datasette.app import Datasette

    from ..headers import App

# What uvicorn asks of a connection; the clocks of a slow one are in patience.py.
_UVICORN: Final[dict[str, Any]] = {
    "log_level": "warning",
    "ws": "none",
    "limit_concurrency": 256,
    "timeout_keep_alive": 5,
    "timeout_graceful_shutdown": 5,
    "h11_max_incomplete_event_size": 32_768,
    "server_header": False,
}


class CannotListen(PinfolioError):  # noqa: N818  it is what is raised, and reads as such
    """The address cannot be listened at: why, and what to give instead."""


def datasette_for(folio: Path, **settings: Any) -> Datasette:
    """Datasette with the folio attached, as it stands there now; FolioError if it is none."""
    return Edition(folio, **settings).datasette


def listen(host: str, port: int, *, or_any: bool = False) -> socket.socket:
    """A socket bound to the address; with ``or_any`` any free port when that one is taken.

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
        raise CannotListen(f"{host} port {port}: {_instead(fault)}") from None
    return bound


def _instead(fault: OSError) -> str:
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


def address_of(bound: socket.socket) -> str:
    """The web address that a bound socket answers at; where it is all of them, by name."""
    host, port = bound.getsockname()[:2]
    host = socket.gethostname() if host in ("0.0.0.0", "::") else host
    return f"http://[{host}]:{port}/" if ":" in host else f"http://{host}:{port}/"


def is_loopback(bound: socket.socket) -> bool:
    """True when nobody but this machine itself can reach a bound socket."""
    return ipaddress.ip_address(bound.getsockname()[0].partition("%")[0]).is_loopback


def serve(
    app: App, bound: socket.socket, ready: Callable[[], None], password: str | None = None
) -> None:
    """Serve an ASGI application until interrupted, to this machine or to who has the password.

    ``ready`` is called when the first question can be answered.
    """
    assert password is not None or is_loopback(bound)
    guarded = Door(within_limits(app), password)
    try:
        asyncio.run(_run(guarded, bound, ready))
    except KeyboardInterrupt:
        pass
    finally:
        bound.close()


async def _run(app: App, bound: socket.socket, ready: Callable[[], None]) -> None:
    import uvicorn

    from .timeouts import PatientProtocol

    server = uvicorn.Server(uvicorn.Config(app, http=PatientProtocol, **_UVICORN))
    serving = asyncio.create_task(server.serve(sockets=[bound]))
    while not server.started and not serving.done():
        await asyncio.sleep(0.02)
    if server.started:
        ready()
    await serving
