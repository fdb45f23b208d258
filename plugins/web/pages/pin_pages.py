"""The card of a pin as a page and as JSON, with the verdict on the readings in its address."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final
from urllib.parse import urlencode

from datasette.app import Datasette
from datasette.utils.asgi import Request, Response

from ....loaders import Folio
from ....schema import Chip
from ....schema.chips.lookup import find_pin
from ....schema.errors import Unknown
from ....schema.instruments import ComponentTester, Instruments
from ....schema.reading import SEEN, BadReading
from ...cards.attached_captures import AttachmentView, view_attachments
from ...cards.caution_strip import summarise_cautions
from ...cards.expected_figures import ExpectedFigure
from ...cards.one_step import describe_on_chain, describe_part
from ...cards.pictures import draw_instrument_picture, draw_screen_picture, draw_vector_picture
from ...cards.pin_card import PinCard, build_pin_card
from ...drawing.limit_bar import draw_limit_bar
from ...drawing.pin_place import describe_place, draw_pin_place, list_neighbours
from ...drawing.tester_picture import draw_tester_figure
from ...instruments.component_tester import SetOffView, view_with_tester
from ...notes.similar_cases import BenchCase, SimilarCase, convert_reading, find_similar_cases
from ...readings.checks import NoExpectation, check_pin
from ...readings.verdict import FigureVerdict, PinVerdict
from ...search.marking_lookup import find_chip
from ..own_instruments import choose_own_instruments, choose_own_tester, list_chosen_names
from ..page_context import Addresses, ask, from_address, render_page, respond_json, respond_unknown
from .check_pages import READ, choose_good_notes, list_fields, parse_reading

_SHOWN_WORDS: Final = {
    "": "nothing odd",
    "missing": "nothing there",
    "unstable": "jumping",
    "distorted": "distorted",
}
"""What may be seen without a figure, as the form offers it."""


@dataclass(frozen=True)
class _PinPage:
    """A pin card with its drawings, computed where it does not block other visitors."""

    card: PinCard
    picture: str | None
    through: str | None
    vectors: str | None
    figures: tuple[tuple[ExpectedFigure, FigureVerdict | None, str], ...]
    """Each figure to be read, the verdict on it, and its bar of limits."""
    judged: PinVerdict | None
    alike: tuple[SimilarCase, ...]
    """Notes of faults that come near to the reading, where it is not right."""
    unread: str
    """Why the typed reading cannot be judged; empty if it can."""
    place: tuple[str, str]
    place_words: tuple[str, str]
    attached: dict[str, tuple[AttachmentView, ...]]


async def pin(datasette: Datasette, request: Request) -> Response:
    """Return the card of a pin, by number or symbol; ``?condition=`` chooses the state."""
    part = from_address(request.url_vars["part"])
    pin_name = from_address(request.url_vars["pin"])
    args = request.args
    condition = args.get("condition")
    try:
        instruments = choose_own_instruments(request)
        tester = choose_own_tester(request)
        # Without a choice the card has no second picture, through ordinary instruments.
        chosen = instruments if list_chosen_names(request) else None

        def build_card(folio: Folio) -> PinCard:
            chip = find_chip(folio, part)
            found_pin = find_pin(chip, pin_name)
            notes = folio.notes(chip.part)
            proposals = folio.proposals(notes)
            return build_pin_card(chip, found_pin, condition, chosen, notes, proposals)

        def build_document(folio: Folio) -> dict[str, Any]:
            return _describe(build_card(folio), tester)

        def draw_page(folio: Folio) -> _PinPage:
            return _draw(folio, build_card(folio), request, instruments)

        if request.url_vars["format"]:
            return respond_json(await ask(datasette, build_document))
        page = await ask(datasette, draw_page)
    except Unknown as error:
        return await respond_unknown(datasette, request, error, part)
    chip, number = page.card.chip, page.card.pin.number
    return await render_page(
        datasette,
        request,
        "pin_card.html",
        section="Look up",
        drawn=page,
        card=page.card,
        chip=chip,
        attached=page.attached,
        read={field: args.get(field) or "" for field in READ},
        given=list_fields(request),
        seen_words=_offer_words(args.get("seen") or ""),
        instruments=instruments,
        onward=_list_ways_on(datasette, request, chip, number),
        strip=summarise_cautions(chip, f"pin {number}"),
        neighbours=list_neighbours(chip, number),
        condition=condition,
        expect=args.get("expect") or "observed",
        before=chip.pin(number - 1),
        after=chip.pin(number + 1),
        set_off=_view_set_off(page.card, tester),
        describe_part=describe_part,
        describe_on_chain=describe_on_chain,
    )


def _describe(card: PinCard, tester: ComponentTester | None) -> dict[str, Any]:
    """Return the card as plain data, with the figures of a chosen component tester."""
    if tester is None:
        return card.document()
    return card.document() | {"tester": view_with_tester(card.chip, card.pin, tester).document()}


@dataclass(frozen=True)
class _SetOff:
    """The figures of a component tester, and that of the pin as a picture, if it is known."""

    view: SetOffView
    picture: str | None


def _view_set_off(card: PinCard, tester: ComponentTester | None) -> _SetOff | None:
    """Return the figures with the set off; None without a component tester."""
    if tester is None:
        return None
    view = view_with_tester(card.chip, card.pin, tester)
    if view.pin is None:
        return _SetOff(view, None)
    title = f"{card.title} to ground, set off, with {tester.name}"
    return _SetOff(view, draw_tester_figure(view.pin.shares, title, view.pin.words))


def _draw(folio: Folio, card: PinCard, request: Request, instruments: Instruments) -> _PinPage:
    """Return the card with the verdict on the reading in the address, and its drawings."""
    chip, number = card.chip, card.pin.number
    verdict, unread = _judge(folio, card, request, instruments)
    results = verdict.results if verdict is not None else ()
    result_of = {result.expected.quantity: result for result in results}
    expected_figures = card.shown.figures if card.shown is not None else ()
    # Known faults are of use only beside a reading that is wrong.
    is_wrong = verdict is not None and not verdict.is_right
    return _PinPage(
        card=card,
        picture=draw_screen_picture(card),
        through=draw_instrument_picture(card),
        vectors=draw_vector_picture(card),
        figures=tuple(
            (
                figure,
                result_of.get(figure.quantity),
                _draw_bar(figure, result_of.get(figure.quantity)),
            )
            for figure in expected_figures
        ),
        judged=verdict,
        alike=_find_alike(folio, card, request) if is_wrong else (),
        unread=unread,
        place=(draw_pin_place(chip, number, "top"), draw_pin_place(chip, number, "solder")),
        place_words=(describe_place(chip, number, "top"), describe_place(chip, number, "solder")),
        attached=view_attachments(folio, card.notes),
    )


def _draw_bar(figure: ExpectedFigure, result: FigureVerdict | None) -> str:
    if result is None:
        return draw_limit_bar(figure.limits)
    is_right = result.verdict == "as expected"
    return draw_limit_bar(result.expected, result.value, is_right=is_right)


def _judge(
    folio: Folio, card: PinCard, request: Request, chosen: Instruments
) -> tuple[PinVerdict | None, str]:
    """Return the verdict on the reading in the address, and the reason for none.

    Without a reading the verdict is None and the reason empty.
    """
    condition = card.shown.condition if card.shown is not None else None
    try:
        reading = parse_reading(request)
        if not reading:
            return None, ""
        good = choose_good_notes(request, folio, card.chip.part, card.pin)
        return check_pin(card.chip, card.pin, reading, chosen, condition, good), ""
    except (BadReading, NoExpectation) as error:
        return None, str(error)


def _find_alike(folio: Folio, card: PinCard, request: Request) -> tuple[SimilarCase, ...]:
    """Return notes on this chip about sets with similar readings at this pin."""
    part, at = card.chip.part, f"pin {card.pin.number}"
    bench = BenchCase(chip=part, readings={at: convert_reading(parse_reading(request))})
    return find_similar_cases(folio.notes(part, [at]), bench)


def _list_ways_on(
    datasette: Datasette, request: Request, chip: Chip, number: int
) -> dict[str, str]:
    """Return the two ways on from a reading: to the hunt and to a note, each with the reading."""
    addresses = Addresses(datasette)
    where = {"condition": request.args["condition"]} if request.args.get("condition") else {}
    given = list_fields(request)
    hunt = urlencode([*where.items(), ("at", str(number)), *given])
    note = urlencode([("chip", chip.part), ("at", f"pin {number}"), *where.items(), *given])
    hunting = addresses.fault_finding(chip.part)
    return {
        "hunt": f"{hunting}?{hunt}" if given else hunting,
        "note": f"{addresses.new_note()}?{note}",
    }


def _offer_words(chosen: str) -> list[tuple[str, str]]:
    """Return the words of the form, with the one in the address where the form has it not."""
    more = {chosen: chosen} if chosen in SEEN and chosen not in _SHOWN_WORDS else {}
    return list((_SHOWN_WORDS | more).items())


VIEWS: Final = (pin,)
