"""What is asked of a folio. The package is one Datasette plugin that brings its capabilities along.

Each capability (a folder here) is a plugin of its own with routes and templates; Datasette knows
only this package by entry point, and static files live here alone, because files of one
distribution share one address.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from datasette.plugins import pm

from .hook import hookimpl

if TYPE_CHECKING:
    from datasette.app import Datasette

for _capability in ("search", "cards"):
    _module = import_module(f".{_capability}", __name__)
    if not pm.is_registered(_module):
        pm.register(_module, _module.__name__)


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
    """Our own page for an address that leads nowhere."""
    from .web import not_found

    return not_found(datasette, request, exception)
