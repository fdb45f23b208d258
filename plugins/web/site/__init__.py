"""The Datasette plugin: its hooks here, its templates and static files beside.

Datasette imports this package by its entry point. Nothing else may import it: imported before
Datasette it would import Datasette itself, which would then register it half-way through.
"""

from __future__ import annotations

from collections.abc import Generator
from typing import Any

from datasette import hookimpl


@hookimpl
def register_routes(datasette: Any) -> list[tuple[str, Any]]:
    """Return the routes of all pages; none where no folio is attached."""
    from ..page_context import folio_database
    from ..pages import find_routes

    return find_routes() if folio_database(datasette) is not None else []


@hookimpl
def startup(datasette: Any) -> None:
    """Refuse to serve a folio that cannot be read, with the command that mends it."""
    from ....schema import chip, note  # noqa: F401  the models of all pages
    from ....schema.instruments import models  # noqa: F401
    from ....schema.model import build_models
    from ..page_context import check_folios

    check_folios(datasette)
    build_models()


@hookimpl
def prepare_jinja2_environment(env: Any) -> None:
    """Give templates the filter that renders the text of a note."""
    from ..note_markdown import render_markdown

    env.filters["markdown"] = render_markdown


@hookimpl
def asgi_wrapper(datasette: Any) -> Any:
    """Give every answer its security headers."""
    from ..headers import with_security_headers

    return with_security_headers


@hookimpl(hookwrapper=True)
def handle_exception(
    datasette: Any, request: Any, exception: Exception
) -> Generator[None, Any, None]:
    """Replace every other answer to an exception with our own."""
    from ..failures import failed

    answers = yield
    ours = failed(datasette, request, exception)
    if ours is not None:
        answers.force_result([ours])
