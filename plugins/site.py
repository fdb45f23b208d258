"""What concerns every page: the check at start-up, the security headers, the not-found page."""

from __future__ import annotations

from collections.abc import Generator
from typing import TYPE_CHECKING, Any

from .hook import hook_around, hookimpl

if TYPE_CHECKING:
    from datasette.app import Datasette


@hookimpl
def startup(datasette: Datasette) -> None:
    """Refuse to serve a folio that cannot be read, with the command that mends it."""
    from ..schema import chip, instrument, note  # noqa: F401  the models of all pages
    from ..schema.model import build_models
    from .web import check_folios

    check_folios(datasette)
    build_models()


@hookimpl
def asgi_wrapper(datasette: Datasette) -> Any:
    """Give every answer its security headers."""
    from .headers import with_security_headers

    return with_security_headers


@hook_around
def handle_exception(
    datasette: Datasette, request: Any, exception: Exception
) -> Generator[None, Any, None]:
    """Our own answers to what cannot be answered, in place of every other one."""
    from .failed import failed

    others = yield
    ours = failed(datasette, request, exception)
    if ours is not None:
        others.force_result([ours])
