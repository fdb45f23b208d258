"""A folio behind Datasette and uvicorn: read-only, from this machine, with no call to anywhere."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

from ...loaders.folio_file import check_folio_file
from .. import register

if TYPE_CHECKING:
    from datasette.app import Datasette

SETTINGS: Final[dict[str, Any]] = {
    "suggest_facets": False,  # guessing facets takes longer than the page itself
    "sql_time_limit_ms": 1000,
    "allow_download": False,
    "default_cache_ttl": 0,  # a rebuilt folio must show at the next visit
}


class PortTaken(Exception):  # noqa: N818  it is what is raised, and reads as such
    """Somebody else listens at the address."""


def datasette_for(folio: Path, **settings: Any) -> Datasette:
    """Datasette with the folio attached as an immutable file; FolioError if it is none."""
    from datasette.app import Datasette

    register()
    check_folio_file(folio, afresh=True)
    return Datasette([], immutables=[str(folio)], settings={**SETTINGS, **settings})


def listen(host: str, port: int, *, or_any: bool = False) -> socket.socket:
    """A socket bound to the address; with ``or_any`` any free port when that one is taken."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    bound = socket.socket(family, socket.SOCK_STREAM)
    bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        bound.bind((host, port))
    except OSError as fault:
        bound.close()
        if or_any:
            return listen(host, 0)
        raise PortTaken(f"{host} port {port}: {fault.strerror}") from None
    return bound


def address_of(bound: socket.socket) -> str:
    """The web address that a bound socket answers at."""
    host, port = bound.getsockname()[:2]
    return f"http://[{host}]:{port}/" if ":" in host else f"http://{host}:{port}/"


def serve(datasette: Datasette, bound: socket.socket, ready: Callable[[], None]) -> None:
    """Serve until interrupted; ``ready`` is called when the first question can be answered."""

    async def start() -> Any:
        await datasette.invoke_startup()
        return datasette.app()

    _serve(start, bound, ready, lifespan="on")


def serve_app(app: Any, bound: socket.socket, ready: Callable[[], None]) -> None:
    """Serve an ASGI application until interrupted, as ``serve`` does."""

    async def start() -> Any:
        return app

    _serve(start, bound, ready, lifespan="off")


def _serve(
    start: Callable[[], Awaitable[Any]],
    bound: socket.socket,
    ready: Callable[[], None],
    lifespan: Literal["on", "off"],
) -> None:
    import uvicorn

    async def run() -> None:
        config = uvicorn.Config(await start(), log_level="warning", lifespan=lifespan)
        server = uvicorn.Server(config)
        serving = asyncio.create_task(server.serve(sockets=[bound]))
        while not server.started and not serving.done():
            await asyncio.sleep(0.02)
        if server.started:
            ready()
        await serving

    try:
        asyncio.run(run())
    except KeyboardInterrupt:
        pass
    finally:
        bound.close()
