"""Error pages, and the lines about them in the log.

Datasette would log every wrong address with a traceback and all variables, which takes longer than
most answers, and would report its own failure on a hostile address as a server error.
"""

from __future__ import annotations

import sys
import traceback
from collections.abc import Awaitable, Callable
from http import HTTPStatus
from pathlib import Path
from typing import Any, Final

from datasette.app import Datasette
from datasette.utils import await_me_maybe
from datasette.utils.asgi import Base400, NotFound, Request, Response
from datasette.views.base import DatasetteError

from ...loaders import FolioError
from ...schema.text import visible
from .page_context import (
    ANSWER_LIMIT_S,
    folio_database,
    from_address,
    is_of_another_database,
    respond_json,
    respond_nothing_here,
)
from .plain_page import plain_page

_FRAMES_SHOWN: Final = 10  # of the traceback of our own fault, the innermost
_OURS: Final = Path(__file__).parents[1]
_WRAPPERS: Final = (Path(__file__).parent, Path(__file__).parent / "serving")

Answer = Callable[[], Awaitable[Response]]


def build_failure_answer(
    datasette: Datasette, request: Request, exception: Exception
) -> Answer | None:
    """Return the answer to an exception, to be called; None without a folio, and elsewhere."""
    if folio_database(datasette) is None or is_of_another_database(datasette, request.path):
        return None

    async def answer() -> Response:
        if isinstance(exception, NotFound) and not request.path.endswith(".json"):
            path = from_address(request.path)
            # The last piece of the address may be a part, of which the nearest are offered.
            part = path.rsplit("/", 1)[-1]
            sentence = f"There is no page {path!r} here."
            return await respond_nothing_here(datasette, request, sentence, part)
        status, sentence = _find_status(exception)
        if status == HTTPStatus.INTERNAL_SERVER_ERROR:
            traceback.print_exception(exception, limit=-_FRAMES_SHOWN)
        if request.path.endswith(".json"):
            # The form of Datasette's own refusals.
            document = {"ok": False, "error": sentence, "status": status, "title": None}
            return respond_json(document, status)
        return plain_page(status, HTTPStatus(status).phrase, sentence)

    return answer


def answer_while_handled(exception: Exception, found: Any) -> Answer:
    """Return an answer that Datasette found, given while the exception is being handled.

    Where rich is installed, Datasette prints the exception being handled; for an address of no page
    there is none, and rich would fail.
    """

    async def answer() -> Response:
        try:
            raise exception
        except type(exception):
            return await await_me_maybe(found)

    return answer


def _find_status(exception: Exception) -> tuple[int, str]:
    """Return HTTP status and sentence: a wrong request, a damaged folio, or our own fault (500)."""
    if isinstance(exception, DatasetteError):  # a refusal, though of no status but 500
        message = exception.title if exception.message_is_html else exception.message
        return 400 if exception.status == 500 else exception.status, f"{message}."
    if isinstance(exception, Base400):
        return exception.status, str(exception)
    if isinstance(exception, FolioError) and _was_interrupted(exception):
        return 503, f"It took more than {ANSWER_LIMIT_S} seconds. Ask for less, or rarer words."
    if isinstance(exception, FolioError) or _has_passed_our_pages(exception):
        return 500, str(exception)
    # Left over are Datasette's own pages, which read their settings from the address unguarded.
    print(visible(f"Not understood by Datasette: {exception!r}"), file=sys.stderr)
    return 400, f"The address was not understood ({exception})."


def _was_interrupted(exception: FolioError) -> bool:
    return getattr(exception.__cause__, "args", ()) == ("interrupted",)


def _has_passed_our_pages(exception: Exception) -> bool:
    """Return whether our pages raised it; the wrappers of every answer do not count."""
    frames = traceback.extract_tb(exception.__traceback__)
    files = {Path(frame.filename) for frame in frames}
    return any(_OURS in file.parents and file.parent not in _WRAPPERS for file in files)
