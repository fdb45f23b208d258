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
    fields = {name: (request.args.get(name) or "").strip() for name in _ASKED}
    wants_download = bool(request.url_vars["file"])
    begun_file, refusal, pin_count = None, "", 0
    typed_pins: list[TypedPin] = []
    try:
        # Without a number of pins the package is not chosen yet.
        if fields["pins"]:
            package = f"{fields['family']}-{fields['pins']}"
            pin_count = count_pins(fields["part"], package, fields["kind"])
        typed_pins = _read_pins(pairs, min(pin_count, _MOST_PIN_BY_PIN))
        begun_file = _make_file(fields, typed_pins)
    except CannotBegin as error:
        refusal = f"{str(error)[:1].upper()}{str(error)[1:]}."
    if wants_download:
        return _send_file(begun_file, refusal)
    return await render_page(
        datasette,
        request,
        "begin.html",
        400 if refusal else 200,
        asked=fields,
        made=begun_file,
        refused=refusal,
        count=pin_count,
        pins=typed_pins,
        with_functions=pin_count <= _MOST_WITH_FUNCTIONS,
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


def _make_file(fields: dict[str, str], typed_pins: list[TypedPin]) -> BegunFile | None:
    """Return the file made from the fields; None while they are empty. Raises CannotBegin."""
    package = f"{fields['family']}-{fields['pins']}"
    if fields["table"]:
        return begin_from_table(
            fields["part"], package, fields["kind"], fields["table"], fields["maker"]
        )
    if not any(typed_pins):
        return None
    return begin_from_pins(fields["part"], package, fields["kind"], typed_pins, fields["maker"])


def _send_file(begun_file: BegunFile | None, refusal: str) -> Response:
    """Return the chip file as a download, or why there is none."""
    if begun_file is None:
        text = refusal or "Nothing was filled in."
        return Response(text, 400, HEADERS, "text/plain; charset=utf-8")
    headers = {**HEADERS, "content-disposition": f'attachment; filename="{begun_file.name}"'}
    return Response(begun_file.text, 200, headers, "application/yaml; charset=utf-8")


VIEWS: Final = (begin,)
