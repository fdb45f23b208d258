"""Notes of shops as a page and as JSON: searched by symptom, part or remedy; sets like this one."""

from __future__ import annotations

from datasette.app import Datasette
from datasette.utils.asgi import Request, Response

from ..readings.pages import READ, reading_in
from ..readings.reading import BadReading
from ..web import as_json, ask, page
from .alike import OnTheBench, readings_of
from .find_notes import find_notes

_ABOUT = ("q", "chip", "at", "chassis")


async def notes(datasette: Datasette, request: Request) -> Response:
    """Notes for ``?q=``; with ``chip``, ``at`` and readings also sets like the one on the bench."""
    asked = {name: request.args.get(name) or "" for name in _ABOUT}
    read = {name: request.args.get(name) or "" for name in READ}
    wants_json = bool(request.url_vars["format"])
    try:
        reading, unread = reading_in(request), ""
    except BadReading as refused:
        reading, unread = None, str(refused)
    if unread and wants_json:
        return as_json({"error": unread}, status=400)
    readings = {asked["at"]: readings_of(reading)} if reading and asked["at"] else {}
    bench = OnTheBench(asked["q"], asked["chip"], asked["chassis"], readings)
    found = await ask(datasette, lambda folio: find_notes(folio, asked["q"], bench))
    if wants_json:
        return as_json(found.document())
    return await page(
        datasette, request, "notes.html", found=found, asked=asked, read=read, unread=unread
    )
