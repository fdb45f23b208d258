"""From a data sheet to a chip file: drafting, linting, formatting, previewing, comparing."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ..hook import hookimpl

if TYPE_CHECKING:
    from datasette.app import Datasette


@hookimpl
def register_routes(datasette: Datasette) -> list[tuple[str, Any]]:
    """The comparison of two chips, where there is a folio to ask."""
    from ..web import folio_database
    from . import pages

    if folio_database(datasette) is None:
        return []
    return [(r"^/compare(?P<format>\.json)?$", pages.compare)]
