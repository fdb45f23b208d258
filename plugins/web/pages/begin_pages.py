"""Begin a chip that is not in the folio: the fields make a file to save; nothing is kept here."""

from __future__ import annotations

from typing import Final
from urllib.parse import parse_qsl, quote, urlencode

from datasette.app import Datasette
from datasette.utils.asgi import Request, Response

from ....schema.chips.package import FAMILIES
from ....schema.vocabulary import KINDS
from ...contributing.begun_chip import (
    LONGEST_TABLE,
    BegunFile,
    CannotBegin,
    TypedPin,
    begin_from_pins,
    begin_from_table,
    count_pins,
)
from ..page_context import HEADERS, Addresses, render_page

_ASKED: Final = ("part", "maker", "family", "pins", "kind", "table")
_MOST_WITH_FUNCTIONS: Final = 60
"""Pins with a third field each; an address has room for two hundred fields."""
_MOST_PIN_BY_PIN: Final = 90


async def begin(datasette: Datasette, request: Request) -> Response:
    """Return the form for the package in the address, and the file made from its fields.

    The fields ``symbol``, ``dc`` and ``does`` repeat, once for each pin in order.
    """
    pairs = parse_qsl(request.query_string, keep_blank_values=True)
    asked = {name: (request.args.get(name) or "").strip() for name in _ASKED}
    as_file = bool(request.url_vars["file"])
    made, refused, count = None, "", 0
    typed: list[TypedPin] = []
    try:
        if asked["pins"]:
            count = count_pins(asked["part"], f"{asked['family']}-{asked['pins']}", asked["kind"])
        typed = _read_pins(pairs, min(count, _MOST_PIN_BY_PIN))
        made = _make_file(asked, typed)
    except CannotBegin as unusable:
        refused = f"{str(unusable)[:1].upper()}{str(unusable)[1:]}."
    if as_file:
        return _send_file(made, refused)
    return await render_page(
        datasette,
        request,
        "begin.html",
        200 if not refused else 400,
        asked=asked,
        made=made,
        refused=refused,
        count=count,
        pins=typed,
        with_functions=count <= _MOST_WITH_FUNCTIONS,
        families=FAMILIES,
        kinds=KINDS,
        longest_table=LONGEST_TABLE,
        file_address=f"{Addresses(datasette).begin()}.yaml?{urlencode(pairs, quote_via=quote)}",
    )


def _read_pins(pairs: list[tuple[str, str]], count: int) -> list[TypedPin]:
    """Return a pin for each position, with the fields that repeat in the address."""
    columns = [
        [value.strip() for name, value in pairs if name == field][:count]
        for field in ("symbol", "dc", "does")
    ]
    filled = [[*column, *[""] * (count - len(column))] for column in columns]
    return [
        TypedPin(number, symbol, dc, function)
        for number, (symbol, dc, function) in enumerate(zip(*filled, strict=True), start=1)
    ]


def _make_file(asked: dict[str, str], typed: list[TypedPin]) -> BegunFile | None:
    """Return the file made from the fields; None while they are empty. Raises CannotBegin."""
    package = f"{asked['family']}-{asked['pins']}"
    if asked["table"]:
        return begin_from_table(
            asked["part"], package, asked["kind"], asked["table"], asked["maker"]
        )
    if not any(typed):
        return None
    return begin_from_pins(asked["part"], package, asked["kind"], typed, asked["maker"])


def _send_file(made: BegunFile | None, refused: str) -> Response:
    """Return the chip file as a download, or why there is none."""
    if made is None:
        text = refused or "Nothing was filled in."
        return Response(text, 400, HEADERS, "text/plain; charset=utf-8")
    headers = {**HEADERS, "content-disposition": f'attachment; filename="{made.name}"'}
    return Response(made.text, 200, headers, "application/yaml; charset=utf-8")


VIEWS: Final = (begin,)
