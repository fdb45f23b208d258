"""Given these readings: what is suspect, and where do I probe next?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ..hook import hookimpl

if TYPE_CHECKING:
    from datasette.app import Datasette


@hookimpl
def register_routes(datasette: Datasette) -> list[tuple[str, Any]]:
    """The fault-finding page of a chip, where there is a folio to ask."""
    from ..web import folio_database
    from . import pages

    if folio_database(datasette) is None:
        return []
    return [(r"^/chip/(?P<part>[^/]+)/fault-finding(?P<format>\.json)?$", pages.fault_finding)]
