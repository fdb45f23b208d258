"""Is what I measured right? Readings held against expectations, with the instruments in hand."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ..hook import hookimpl

if TYPE_CHECKING:
    from datasette.app import Datasette


@hookimpl
def register_routes(datasette: Datasette) -> list[tuple[str, Any]]:
    """The check of a pin, where there is a folio to ask."""
    from ..web import folio_database
    from . import pages

    if folio_database(datasette) is None:
        return []
    return [(r"^/chip/(?P<part>[^/]+)/(?P<pin>[^/]+)/check\.json$", pages.check)]
