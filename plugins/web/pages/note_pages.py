"""Notes of shops as a page and as JSON, by search or by similar readings; and attached files."""

from __future__ import annotations

from typing import Final
from urllib.parse import parse_qsl, urlencode

from datasette.app import Datasette
from datasette.utils.asgi import NotFound, Request, Response

from ....loaders import Folio
from ....loaders.folio.attachment_rows import MEDIA
from ....schema.reading import BadReading
from ...cards.attached_captures import AttachmentView, view_attachments
from ...notes.note_search import NoteSearchAnswer, find_notes
from ...notes.similar_cases import BenchCase, convert_reading
from ..page_context import HEADERS, ask, render_page, respond_json
from .check_pages import READ, parse_reading

_MOST_DIGITS: Final = 6
_ABOUT = ("q", "chip", "at", "chassis")


async def notes(datasette: Datasette, request: Request) -> Response:
    """Return the notes for ``?q=``; with ``chip``, ``at`` and readings also similar sets."""
    asked = {name: request.args.get(name) or "" for name in _ABOUT}
    read = {name: request.args.get(name) or "" for name in READ}
    wants_json = bool(request.url_vars["format"])
    try:
        reading, unread = parse_reading(request), ""
    except BadReading as error:
        # A page shows the other notes all the same, beside the reason.
        reading, unread = None, str(error)
    if unread and wants_json:
        return respond_json({"error": unread}, status=400)
    readings = {asked["at"]: convert_reading(reading)} if reading and asked["at"] else {}
    bench = BenchCase(asked["q"], asked["chip"], asked["chassis"], readings)

    def search(folio: Folio) -> tuple[NoteSearchAnswer, dict[str, tuple[AttachmentView, ...]]]:
        page_number = read_page_number(request.args.get("page"))
        answer = find_notes(folio, asked["q"], bench, page_number)
        return answer, {} if wants_json else view_attachments(folio, answer.notes)

    answer, attached = await ask(datasette, search)
    if wants_json:
        return respond_json(answer.document())
    return await render_page(
        datasette,
        request,
        "notes.html",
        found=answer,
        attached=attached,
        asked=asked,
        read=read,
        unread=unread,
        turned=_list_turned_pages(request, answer),
    )


def read_page_number(text: str | None) -> int:
    """Return the number of a page in an address; 1 for none, and for anything else."""
    is_number = text is not None and text.isascii() and text.isdecimal()
    return int(text[:_MOST_DIGITS]) if text is not None and is_number else 1


def _list_turned_pages(request: Request, found: NoteSearchAnswer) -> list[tuple[str, str]]:
    """Return the words and the query string of the page before and of the one after."""
    asked = [(name, text) for name, text in parse_qsl(request.query_string) if name != "page"]
    return [
        (words, urlencode([*asked, ("page", str(number))]))
        for words, number in (("Earlier page", found.page - 1), ("Next page", found.page + 1))
        if 1 <= number <= found.pages
    ]


async def attachment(datasette: Datasette, request: Request) -> Response:
    """Return an attached capture or picture by its SHA-256; the bytes never change.

    A capture is sent as a download, so that no browser guesses its type.
    """
    sha256, ending = request.url_vars["sha256"], request.url_vars["ending"]
    held = await ask(datasette, lambda folio: folio.attachment(sha256))
    if held is None or held.media != MEDIA[ending]:
        raise NotFound(f"no attachment {sha256}.{ending}")
    headers = {**HEADERS, "cache-control": "max-age=31536000, immutable"}
    if ending == "csv":
        headers["content-disposition"] = "attachment"
    return Response(held.data, headers=headers, content_type=held.media)


VIEWS: Final = (notes, attachment)
