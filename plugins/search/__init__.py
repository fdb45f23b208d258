"""Which chip is this, from what is left of its marking? Which pins do that?"""

from __future__ import annotations

from ..hook import hookimpl

TYPE_CHECKING = False  # as typing has it
if TYPE_CHECKING:
    from typing import Any

    from datasette.app import Datasette


@hookimpl
def register_routes(datasette: Datasette) -> list[tuple[str, Any]]:
    """The pages, where there is a folio to ask."""
    from ..web import folio_database
    from . import pages

    if folio_database(datasette) is None:
        return []
    return [(r"^/$", pages.home), (r"^/find(?P<format>\.json)?$", pages.answer)]
