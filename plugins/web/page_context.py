"""Shared by all pages: the folio behind Datasette, addresses, rendering.

An address that ends in ``.json`` serves the document that the command prints with ``--json``. Part
numbers are percent-encoded in addresses.
"""

from __future__ import annotations

import json
import re
import sqlite3
from collections.abc import Callable
from functools import lru_cache, partial
from pathlib import Path
from typing import Any, Final, TypeVar
from urllib.parse import quote, unquote

from datasette.app import Datasette
from datasette.database import Database
from datasette.utils import StartupError, sqlite_timelimit
from datasette.utils.asgi import Request, Response
from jinja2 import Environment, Template

from ...loaders import Folio, FolioError
from ...loaders.folio.folio_file import check_folio_file, is_folio_file
from ...schema.chips.package import FAMILIES
from ...schema.note import Attachment
from ...schema.text import visible
from ...schema.vocabulary import KINDS
from ..cards.cautions import GENERAL_CAUTIONS
from .folio_database import FolioDatabase
from .headers import STRICT_POLICY

Answer = TypeVar("Answer")

ANSWER_LIMIT_S: Final = 10
"""A query is abandoned after this time, so that others are answered."""

HEADERS: Final = {"content-security-policy": STRICT_POLICY}
"""Headers of every answer of our own."""

LOOK_COOKIE: Final = "pinfolio-look"
LOOKS: Final = {"": "as the device", "light": "light", "dim": "dim workshop"}
"""Looks of the pages by name, in words."""


def folio_database(datasette: Datasette) -> Database | None:
    """Return the first attached database that is a folio; None without one."""
    for database in datasette.databases.values():
        if isinstance(database, FolioDatabase) or _holds_folio(database):
            return database
    return None


def is_of_another_database(datasette: Datasette, path: str) -> bool:
    """Return whether a path leads to a database that is attached beside the folio.

    Datasette's own list of databases, ``_internal``, is none that anybody attached.
    """
    folio, first = folio_database(datasette), path.partition("/")[2].partition("/")[0]
    others = (each for each in datasette.databases.values() if each is not folio)
    names = {each.route or each.name for each in others} - {"_internal"}
    return first.partition(".")[0] in names


def _holds_folio(database: Database) -> bool:
    return bool(database.path) and is_folio_file(Path(database.path))


def check_folios(datasette: Datasette) -> None:
    """Raise StartupError if an attached folio cannot be read."""
    database = folio_database(datasette)
    if database is not None and not isinstance(database, FolioDatabase):
        try:
            check_folio_file(Path(database.path))
        except FolioError as fault:
            raise StartupError(str(fault)) from None


async def ask(datasette: Datasette, question: Callable[[Folio], Answer]) -> Answer:
    """Return ``question(folio)``, computed off the event loop on one of Datasette's connections."""
    database = folio_database(datasette)
    assert database is not None  # without a folio there are no routes that ask

    def on_connection(connection: sqlite3.Connection) -> Answer:
        with sqlite_timelimit(connection, ANSWER_LIMIT_S * 1000):
            return question(Folio(connection))

    answer: Answer = await database.execute_fn(on_connection)
    return answer


async def render_page(
    datasette: Datasette, request: Request, template: str, status: int = 200, **context: Any
) -> Response:
    """Return a page rendered from a template, under the strict policy."""
    database = folio_database(datasette)
    shared = {
        "address": Addresses(datasette),
        "static": partial(datasette.urls.static_plugins, "pinfolio"),
        "tables": datasette.urls.database(database.name) if database is not None else None,
        "preview": getattr(datasette, "pinfolio_preview", None),
        "published": getattr(datasette, "pinfolio_published", False),
        "typed": context.get("typed", ""),
        "look": chosen_look(request),
        "looks": LOOKS,
        "here": _own_address(request),
        "general_cautions": GENERAL_CAUTIONS,
    }
    body = find_template(datasette, template).render({**shared, **context})
    # The template escapes HTML; characters that reverse or hide text are spelt out here.
    return Response.html(visible(body, keep_lines=True), status=status, headers=HEADERS)


def find_template(datasette: Datasette, name: str) -> Template:
    """Return a template of ours, compiled."""
    return _overlay_plain(datasette.jinja_env).get_template(name)


@lru_cache(maxsize=4)
def _overlay_plain(environment: Environment) -> Environment:
    """Return Datasette's templates without ``await``, of which ours have none: a third quicker."""
    return environment.overlay(enable_async=False)


def chosen_look(request: Request) -> str:
    """Return the look kept in this browser's cookie; empty for the device's own."""
    kept = request.cookies.get(LOOK_COOKIE, "")
    return kept if kept in LOOKS else ""


def _own_address(request: Request) -> str:
    """Return path and query of the page asked for, without a prefix of the site."""
    path = quote(request.scope.get("route_path", request.path))
    return f"{path}?{request.query_string}" if request.query_string else path


def respond_json(document: Any, status: int = 200) -> Response:
    """Return a document as a JSON response."""
    body = json.dumps(document, ensure_ascii=False)
    headers = {"content-type": "application/json; charset=utf-8", **HEADERS}
    return Response(body, status=status, headers=headers)


def from_address(text: str) -> str:
    """Return a piece of an address, decoded."""
    return unquote(text)


class Addresses:
    """The addresses of the pages, for templates and redirects."""

    def __init__(self, datasette: Datasette) -> None:
        self._urls = datasette.urls

    def home(self) -> str:
        """Return the address of the start page."""
        return str(self._urls.path("/"))

    def find(self, text: str | None = None) -> str:
        """Return the address of a search."""
        query = "" if text is None else f"?q={quote(text, safe='')}"
        return str(self._urls.path(f"/find{query}"))

    def parts(self, page: int = 1) -> str:
        """Return the address of a page of the list of parts, counted from 1."""
        return str(self._urls.path("/parts" if page == 1 else f"/parts?page={page}"))

    def hunts(self, symptom: str | None = None) -> str:
        """Return the address of the choice of a chip to find a fault around."""
        query = "" if symptom is None else f"?symptom={quote(symptom, safe='')}"
        return str(self._urls.path(f"/fault-finding{query}"))

    def begin(self) -> str:
        """Return the address where a chip that is not here is begun."""
        return str(self._urls.path("/begin"))

    def look(self) -> str:
        """Return the address that keeps the chosen look."""
        return str(self._urls.path("/look"))

    def notes(self, text: str | None = None) -> str:
        """Return the address of the notes, or of a search in them."""
        query = "" if text is None else f"?q={quote(text, safe='')}"
        return str(self._urls.path(f"/notes{query}"))

    def attachment(self, attachment: Attachment) -> str:
        """Return the address of an attached capture or picture."""
        ending = attachment.name.rpartition(".")[2]
        return str(self._urls.path(f"/notes/attachment/{attachment.sha256}.{ending}"))

    def chip(self, part: str) -> str:
        """Return the address of a chip sheet."""
        # A dot is spelt out, so that a part whose name ends in .json has a page as well.
        return str(self._urls.path(f"/chip/{quote(part, safe='').replace('.', '%2E')}"))

    def compare(self, fitted: str | None = None, other: str | None = None) -> str:
        """Return the address of a comparison with a replacement; without one, of its form."""
        parts = (("a", fitted), ("b", other))
        query = "&".join(f"{name}={quote(part, safe='')}" for name, part in parts if part)
        return str(self._urls.path(f"/compare?{query}" if query else "/compare"))

    def fault_finding(self, part: str) -> str:
        """Return the address of fault finding on a chip."""
        return f"{self.chip(part)}/fault-finding"

    def bench_sheet(self, part: str) -> str:
        """Return the address of the sheet to print for the bench."""
        return f"{self.chip(part)}/bench-sheet"

    def pin(self, part: str, number: int, condition: str | None = None) -> str:
        """Return the address of a pin card, with the picture of one condition."""
        query = "" if condition is None else f"?condition={quote(condition, safe='')}"
        return f"{self.chip(part)}/{number}{query}"

    def capture(self, part: str, number: int) -> str:
        """Return the address that lays a capture over a pin's expected trace."""
        return f"{self.chip(part)}/{number}/capture"

    def instruments(self) -> str:
        """Return the address of the choice of instruments."""
        return str(self._urls.path("/instruments"))

    def new_note(self) -> str:
        """Return the address of the form that makes a note."""
        return str(self._urls.path("/note"))

    def place(self, part: str, place: str) -> str:
        """Return the address of a note: the card of its pin, else the sheet of its chip."""
        number = place.removeprefix("pin ")
        return self.pin(part, int(number)) if number.isdecimal() else self.chip(part)


async def respond_nothing_here(
    datasette: Datasette, request: Request, message: str, asked: str
) -> Response:
    """Return a page with status 404 that offers the nearest parts."""
    nearest = await ask(datasette, lambda folio: folio.nearest_parts(asked))
    is_chip = re.match(r"^/chip/[^/]+$", request.scope.get("route_path", request.path))
    return await render_page(
        datasette,
        request,
        "nothing_here.html",
        404,
        message=message,
        nearest=nearest,
        typed=asked,
        begin_part=asked if is_chip else "",
        families=FAMILIES,
        kinds=KINDS,
    )


async def respond_unknown(
    datasette: Datasette, request: Request, unknown: Exception, part: str
) -> Response:
    """Return status 404 naming the unknown thing, as JSON for an address in .json, else a page."""
    message = str(unknown)
    if request.url_vars["format"]:
        nearest = list(getattr(unknown, "nearest", ()))
        return respond_json({"error": message, "nearest": nearest}, status=404)
    return await respond_nothing_here(
        datasette, request, f"{message[:1].upper()}{message[1:]}.", part
    )
