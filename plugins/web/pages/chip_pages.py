"""The chip sheet and the pin card as pages and as JSON."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from datasette.app import Datasette
from datasette.utils.asgi import Request, Response

from ....loaders import Folio
from ....schema import Chip, Pin, print_value
from ....schema.chips.lookup import find_condition, find_pin
from ....schema.errors import Unknown
from ....schema.instruments import Instruments
from ....schema.note import Note
from ....schema.reading import SEEN, BadReading
from ...cards.attached_captures import view_attachments
from ...cards.chip_sheet import MOST_NOTES, ChipSheet, build_chip_sheet, describe_part
from ...cards.pictures import draw_instrument_picture, draw_scope_picture, draw_vector_picture
from ...cards.pin_card import PinCard, build_pin_card, list_places
from ...drawing.block_diagram import draw_block_diagram
from ...drawing.package_drawing import draw_package
from ...instruments.known_instruments import load_instruments
from ...notes.similar_cases import BenchCase, SimilarCase, convert_reading, find_similar_cases
from ...readings.checks import NoExpectation, check_pin
from ...readings.verdict import PinVerdict
from ...search.marking_lookup import find_chip
from ..page_context import Addresses, ask, from_address, nothing_here, page, respond_json
from .check_pages import READ, good_notes, reading_in


@dataclass(frozen=True)
class _PinPage:
    """A pin card with its drawings, computed where it does not block other visitors."""

    card: PinCard
    picture: str | None
    through: str | None
    vectors: str | None
    judged: PinVerdict | None
    alike: tuple[SimilarCase, ...]
    """Notes of faults that come near to the reading, where it is not right."""
    unread: str
    """Why the typed reading cannot be judged; empty if it can."""
    package: str
    package_solder: str


async def chip(datasette: Datasette, request: Request) -> Response:
    """Return the sheet of a chip; ``?condition=`` chooses the column of DC voltages."""
    part = from_address(request.url_vars["part"])
    condition = request.args.get("condition")
    wants_json = bool(request.url_vars["format"])
    addresses = Addresses(datasette)

    def sheet(folio: Folio) -> tuple[ChipSheet, str, str, str]:
        found = find_chip(folio, part)
        name = find_condition(found, condition) if condition else None
        notes = folio.notes(found.part, limit=MOST_NOTES)
        made = build_chip_sheet(found, name, notes, folio.proposals(notes))
        if wants_json:
            return made, "", "", ""
        return (
            made,
            *_packages(found, addresses),
            draw_block_diagram(found, _linked(found, addresses)),
        )

    try:
        made, top, solder, blocks = await ask(datasette, sheet)
    except Unknown as unknown:
        return await _unknown(datasette, request, unknown, part)
    if wants_json:
        return respond_json(made.document())
    parts = [describe_part(made.chip, at) for at in range(len(made.chip.application.parts))]
    return await page(
        datasette,
        request,
        "chip_sheet.html",
        sheet=made,
        chip=made.chip,
        parts=parts,
        attached=await ask(datasette, lambda folio: view_attachments(folio, made.remarks)),
        top=top,
        solder=solder,
        blocks=blocks,
    )


async def pin(datasette: Datasette, request: Request) -> Response:
    """Return the card of a pin, by number or symbol; ``?condition=`` chooses the picture."""
    part = from_address(request.url_vars["part"])
    name = from_address(request.url_vars["pin"])
    condition = request.args.get("condition")
    addresses = Addresses(datasette)

    known = load_instruments()
    names = [request.args.get(sort) for sort in ("meter", "probe", "scope")]

    def card(folio: Folio) -> PinCard:
        found = find_chip(folio, part)
        chosen = known.choose(*names) if any(names) else None
        at = find_pin(found, name)
        notes = folio.notes(found.part, list_places(found, at))
        return build_pin_card(found, at, condition, chosen, notes, folio.proposals(notes))

    def drawn(folio: Folio) -> _PinPage:
        made = card(folio)
        top, solder = _packages(made.chip, addresses, made.pin.number)
        good = good_notes(request, folio, made.chip.part, made.pin)
        judged, unread = _judged(made, request, known.choose(*names), condition, good)
        near = () if judged is None or judged.is_right else _alike(folio, made, request)
        pictures = (
            draw_scope_picture(made),
            draw_instrument_picture(made),
            draw_vector_picture(made),
        )
        return _PinPage(made, *pictures, judged, near, unread, top, solder)

    try:
        if request.url_vars["format"]:
            return respond_json(await ask(datasette, lambda folio: card(folio).document()))
        made = await ask(datasette, drawn)
    except Unknown as unknown:
        return await _unknown(datasette, request, unknown, part)
    found, number = made.card.chip, made.card.pin.number
    return await page(
        datasette,
        request,
        "pin_card.html",
        drawn=made,
        card=made.card,
        chip=found,
        attached=await ask(datasette, lambda folio: view_attachments(folio, made.card.notes)),
        known=known,
        read={name: request.args.get(name) or "" for name in READ},
        seen_words=SEEN,
        meter_reads=_meter_reads(made.card),
        condition=condition,
        expect=request.args.get("expect") or "stated",
        before=found.pin(number - 1),
        after=found.pin(number + 1),
    )


def _linked(chip: Chip, addresses: Addresses) -> Callable[[Pin], str]:
    """Return the link of each pin in a drawing: its card."""
    return lambda pin: addresses.pin(chip.part, pin.number)


def _packages(chip: Chip, addresses: Addresses, pin: int | None = None) -> tuple[str, str]:
    """Return drawings of both sides of the package, with every pin linked to its card."""
    link = _linked(chip, addresses)
    return (
        draw_package(chip, "top", pin, link),
        draw_package(chip, "solder", pin, link),
    )


def _judged(
    card: PinCard,
    request: Request,
    chosen: Instruments,
    condition: str | None,
    good: list[Note] | None,
) -> tuple[PinVerdict | None, str]:
    """Return the verdict on the reading in the address, or the reason for none."""
    try:
        reading = reading_in(request)
        if not reading:
            return None, ""
        return check_pin(card.chip, card.pin, reading, chosen, condition, good), ""
    except (BadReading, NoExpectation) as refused:
        return None, str(refused)


def _alike(folio: Folio, card: PinCard, request: Request) -> tuple[SimilarCase, ...]:
    """Return notes on this chip about sets with similar readings at this pin."""
    part, at = card.chip.part, f"pin {card.pin.number}"
    bench = BenchCase(chip=part, readings={at: convert_reading(reading_in(request))})
    return find_similar_cases(folio.notes(part, [at]), bench)


def _meter_reads(card: PinCard) -> str:
    seen = card.through
    return "" if seen is None or seen.meter_v is None else print_value(seen.meter_v, "V")


async def _unknown(
    datasette: Datasette, request: Request, unknown: Exception, part: str
) -> Response:
    message = str(unknown)
    if request.url_vars["format"]:
        nearest = list(getattr(unknown, "nearest", ()))
        return respond_json({"error": message, "nearest": nearest}, status=404)
    return await nothing_here(datasette, request, f"{message[:1].upper()}{message[1:]}.", part)


ROUTES: Final = [
    (r"^/chip/(?P<part>[^/]+?)(?P<format>\.json)?$", chip),
    (
        r"^/chip/(?P<part>[^/]+)/(?!fault-finding(?:\.json)?$)"
        r"(?P<pin>[^/]+?)(?P<format>\.json)?$",
        pin,
    ),
]
