"""What have this shop and others seen on this pin? Notes, and what they say together."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ..hook import hookimpl

if TYPE_CHECKING:
    from datasette.app import Datasette


@hookimpl
def register_routes(datasette: Datasette) -> list[tuple[str, Any]]:
    """The notes, where there is a folio to ask."""
    from ..web import folio_database
    from . import pages

    if folio_database(datasette) is None:
        return []
    return [
        (r"^/notes(?P<format>\.json)?$", pages.notes),
        (
            r"^/notes/attachment/(?P<sha256>[0-9a-f]{64})\.(?P<ending>csv|png|jpg)$",
            pages.attachment,
        ),
    ]
