"""Check a reading: the verdict as JSON, and the reading in a page's address."""

from __future__ import annotations

from typing import Final
from urllib.parse import parse_qsl

from datasette.app import Datasette
from datasette.utils.asgi import Request, Response

from ....loaders import Folio, UnknownPart
from ....schema import Pin
from ....schema.chips.lookup import UnknownCondition, UnknownPin, find_pin
from ....schema.instruments import UnknownInstrument
from ....schema.note import Note
from ....schema.reading import BadReading, Reading
from ...readings.checks import NoExpectation, check_pin
from ...readings.field_units import complete_units
from ...readings.pin_readings import FIELDS, read_fields
from ...readings.verdict import PinVerdict
from ...search.marking_lookup import find_chip
from ..own_instruments import choose_own_instruments
from ..page_context import ask, from_address, respond_json

READ: Final = FIELDS


def list_fields(request: Request) -> list[tuple[str, str]]:
    """Return the fields of the reading in a page's address, blank ones left out."""
    given = complete_units(parse_qsl(request.query_string, keep_blank_values=True))
    return [(name, text.strip()) for name, text in given if name in READ and text.strip()]


def parse_reading(request: Request) -> Reading:
    """Return the reading in a page's address. Raises BadReading."""
    return read_fields(dict(list_fields(request)))


def choose_good_notes(request: Request, folio: Folio, part: str, pin: Pin) -> list[Note] | None:
    """Return the notes to compare a reading with; for ``?expect=stated`` None."""
    if request.args.get("expect") == "stated":
        return None
    return folio.notes(part, [f"pin {pin.number}"])


async def check(datasette: Datasette, request: Request) -> Response:
    """Return the document of a check, as ``pinfolio check --json`` prints it.

    A reading that cannot be read has status 400, an unknown part, pin, state or instrument 404.
    """
    part = from_address(request.url_vars["part"])
    pin_name = from_address(request.url_vars["pin"])
    condition = request.args.get("condition")

    # Datasette calls it in a thread with a connection of its own.
    def check_in_folio(folio: Folio) -> PinVerdict:
        chip = find_chip(folio, part)
        instruments = choose_own_instruments(request)
        reading = parse_reading(request)
        pin = find_pin(chip, pin_name)
        good_notes = choose_good_notes(request, folio, chip.part, pin)
        return check_pin(chip, pin, reading, instruments, condition, good_notes)

    try:
        verdict = await ask(datasette, check_in_folio)
    except BadReading as error:
        return respond_json({"error": str(error)}, status=400)
    except (UnknownPart, UnknownPin, UnknownCondition, UnknownInstrument, NoExpectation) as error:
        return respond_json({"error": str(error)}, status=404)
    return respond_json(verdict.document())


VIEWS: Final = (check,)
