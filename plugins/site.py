"""What concerns every page: the check at start-up, the security headers, the not-found page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from .hook import hookimpl

if TYPE_CHECKING:
    from datasette.app import Datasette


@hookimpl
def startup(datasette: Datasette) -> None:
    """Refuse to serve a folio that cannot be read, with the command that mends it."""
    from .web import check_folios

    check_folios(datasette)


@hookimpl
def asgi_wrapper(datasette: Datasette) -> Any:
    """Give every answer its security headers."""
    from .headers import with_security_headers

    return with_security_headers


@hookimpl
def handle_exception(datasette: Datasette, request: Any, exception: Exception) -> Any:
    """Our own pages for an address that leads nowhere, and for what took too long."""
    from .web import not_answered, not_found

    return not_found(datasette, request, exception) or not_answered(exception)
