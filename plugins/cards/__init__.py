"""What should I see on this pin? Chip sheet, pin card, scope picture, package drawing."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ..hook import hookimpl

if TYPE_CHECKING:
    from datasette.app import Datasette


@hookimpl
def register_routes(datasette: Datasette) -> list[tuple[str, Any]]:
    """The pages, where there is a folio to ask."""
    from ..web import folio_database
    from . import pages

    if folio_database(datasette) is None:
        return []
    return [
        (r"^/chip/(?P<part>[^/]+?)(?P<format>\.json)?$", pages.chip),
        (
            r"^/chip/(?P<part>[^/]+)/(?!fault-finding(?:\.json)?$)"
            r"(?P<pin>[^/]+?)(?P<format>\.json)?$",
            pages.pin,
        ),
    ]
