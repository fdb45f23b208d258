"""The bench: one screen from the symptom to the proved part.

Symptom and readings are in the page's address, nothing is kept. Every step is a GET form that
repeats the fields before it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, Final
from urllib.parse import parse_qsl, urlencode

from datasette.app import Datasette
from datasette.utils.asgi import Request, Response

from ....loaders import Folio, UnknownPart
from ....schema import Chip, Part, Pin, print_value
from ....schema.chips.expectation import Expectation
from ....schema.chips.lookup import UnknownCondition, UnknownPin
from ....schema.chips.usual_faults import describe_endpoint
from ....schema.instruments import UnknownInstrument
from ....schema.quantities import print_span
from ....schema.reading import BadReading
from ...cards.caution_strip import summarise_cautions
from ...cards.one_step import describe_meeting, find_pin_before_node
from ...cards.pictures import draw_expected_screen
from ...cards.pin_card import ConditionView
from ...diagnosis.answers.bench_document import make_bench_document
from ...diagnosis.answers.hunt import find_fault
from ...diagnosis.answers.job import Job
from ...diagnosis.answers.job_document import make_job_document
from ...diagnosis.answers.job_form import form_of_job
from ...diagnosis.answers.states import judge_states
from ...diagnosis.answers.what_if import (
    UnknownSuspect,
    WhatIf,
    make_failures_document,
    predict_failures,
)
from ...diagnosis.symptoms.catalogue import Symptom, UnknownSymptom
from ...diagnosis.weighing.known_board import find_working_condition, load_board
from ...diagnosis.weighing.shop_odds import find_page_odds
from ...diagnosis.weighing.symptom_list import list_board_symptoms
from ...drawing.block_diagram import draw_block_diagram
from ...drawing.package_drawing import draw_package
from ...drawing.pin_place import describe_place, draw_pin_place, list_neighbours
from ...readings.address_fields import AddressReading, Field, list_lines, read_address_fields
from ...readings.field_units import choose_units, complete_units
from ...readings.places import find_test_point, list_spaced_names
from ...search.marking_lookup import find_chip
from ..own_instruments import choose_own_instruments
from ..page_context import (
    Addresses,
    ask,
    from_address,
    render_page,
    respond_json,
    respond_nothing_here,
)

_NOT_UNDERSTOOD: Final = (
    BadReading,
    UnknownPin,
    UnknownCondition,
    UnknownSymptom,
    UnknownSuspect,
)
_MOST_SUSPECTS: Final = 3
"""So many are shown beside the chip itself; the others are listed under "All others"."""
_WITH_A_SIGNAL: Final = ("vpp", "frequency", "ripple")


_list_symptoms = lru_cache(maxsize=32)(
    list_board_symptoms
)  # of a board, which is kept between requests


@dataclass(frozen=True)
class _Place:
    """The place to measure now, and the expected trace, as pictures."""

    shown: ConditionView | None = None
    picture: str = ""
    drawings: tuple[str, str] = ("", "")
    words: tuple[str, str] = ("", "")
    meeting: str = ""
    """The parts that meet at a node."""
    neighbours: tuple[str, ...] = ()
    before: tuple[Part, int] | None = None
    """Of a node: the part that leads to it from the pin that is drawn."""


@dataclass(frozen=True)
class _Hunt:
    """The job of an address, weighed and drawn; ``refused`` is the reason if it cannot be."""

    chip: Chip
    known: tuple[Symptom, ...]
    job: Job | None = None
    refused: str = ""
    bench: dict[str, Any] | None = None
    place: _Place = _Place()
    drawings: tuple[str, ...] = ()
    """The package from both sides and the stages, marked good or bad; only where asked for."""
    what_if: tuple[WhatIf, ...] = ()
    """What a part named by ``?if=`` would change, had it failed."""


async def fault_finding(datasette: Datasette, request: Request) -> Response:
    """Return the one thing to do now, and the suspects, for the symptom and the readings."""
    part = from_address(request.url_vars["part"])
    wants_json = bool(request.url_vars["format"])
    fields = complete_units(parse_qsl(request.query_string, keep_blank_values=True))
    addresses = Addresses(datasette)

    def hunt_in_folio(folio: Folio) -> _Hunt:
        hunt = _weigh(folio, find_chip(folio, part), request, fields)
        # The document has no drawings.
        if wants_json:
            return hunt
        return _draw(hunt, addresses, is_whole=bool(request.args.get("whole")))

    try:
        hunt = await ask(datasette, hunt_in_folio)
    except (UnknownPart, UnknownInstrument) as error:
        if wants_json:
            return respond_json({"error": str(error)}, status=404)
        return await respond_nothing_here(datasette, request, f"{error}.", part)
    if wants_json:
        return _respond_document(hunt)
    return await render_page(
        datasette, request, "fault_finding.html", **_context(hunt, request, fields, addresses)
    )


def _context(
    hunt: _Hunt, request: Request, fields: list[Field], addresses: Addresses
) -> dict[str, Any]:
    """Return all that the template needs."""
    chip, bench = hunt.chip, hunt.bench
    names = list_spaced_names(chip)
    readings = list(read_address_fields(fields, names)) if hunt.job is not None else []
    common = [(name, text) for name, text in fields if name in ("symptom", "condition") and text]
    taken = [reading.fields for reading in readings]
    job = _Address(addresses.fault_finding(chip.part), common, taken)
    at = bench["now"]["at"] if bench is not None else None
    note = {} if hunt.job is None or bench is None else form_of_job(hunt.job, bench)
    return {
        "section": "Find a fault",
        "hunt": hunt,
        "chip": chip,
        "bench": bench,
        "now": bench["now"] if bench is not None else None,
        "place": hunt.place,
        "suspects": _split_suspects(bench) if bench is not None else ([], []),
        "symptoms": [text for name, text in common if name == "symptom"],
        "address_of": job,
        "units_of": choose_units,
        "span_of": _print_limits,
        "note": f"{addresses.new_note()}?{urlencode(note)}",
        "note_fields": note,
        "strip": summarise_cautions(chip, at or None),
        "instruments": choose_own_instruments(request),
        "typed_lines": list_lines(fields),
        "in_words": lambda end: describe_endpoint(chip, end),
        "volts": print_value,
    }


@dataclass(frozen=True)
class _Address:
    """The address of the job, its fields, and those of a step away from it."""

    page: str
    common: list[Field]
    """Symptoms and the state of the set."""
    readings: list[tuple[Field, ...]]

    @property
    def fields(self) -> list[Field]:
        """All fields of the job."""
        return self.before(len(self.readings))

    def before(self, index: int) -> list[Field]:
        """Return the fields up to a reading."""
        return [*self.common, *(field for group in self.readings[:index] for field in group)]

    def after(self, index: int) -> list[Field]:
        """Return the fields after a reading."""
        return [field for group in self.readings[index + 1 :] for field in group]

    def without(self, index: int) -> str:
        """Return the address without one reading."""
        return self.link([*self.before(index), *self.after(index)])

    def with_fields(self, more: Iterable[Iterable[str]]) -> str:
        """Return the address with more fields at its end."""
        return self.link([*self.fields, *((name, text) for name, text in more)])

    def begun_again(self, part: str) -> str:
        """Return the address of a new hunt in the set in which a part was replaced."""
        return self.link([*self.common, ("part", part), ("found", "good")])

    def link(self, fields: list[Field]) -> str:
        """Return the page with these fields."""
        return f"{self.page}?{urlencode(fields)}" if fields else self.page


def _print_limits(expected: dict[str, Any]) -> str:
    """Return the limits of a figure with one unit behind both; of a ripple the most."""
    if expected["low"] <= 0 < expected["high"] and expected["unit"] == "Vpp":
        return f"{print_value(expected['high'], 'Vpp')} or less"
    figures = 6 if expected["unit"] == "Hz" else 3
    return print_span(expected["low"], expected["high"], expected["unit"], figures)


def _take_chosen(bench: dict[str, Any], chosen: str) -> dict[str, Any]:
    """Return the document with another measurement in place of the one to do now."""
    other = next((o for o in bench["instead"] if f"{o['at']} {o['quantity']}" == chosen), None)
    if other is None:
        return bench
    rest = [one for one in bench["instead"] if one is not other]
    first = [bench["now"]] if bench["now"]["kind"] == "measure" else []
    return bench | {"now": other, "instead": [*first, *rest], "together": []}


def _split_suspects(bench: dict[str, Any]) -> tuple[list[Any], list[Any]]:
    """Return the suspects to show, the chip last, and those to fold away."""
    named = [row for row in bench["suspects"] if row["percent"]]
    parts = [row for row in named if row["kind"] != "chip"]
    chip = [row for row in named if row["kind"] == "chip"]
    return [*parts[:_MOST_SUSPECTS], *chip], parts[_MOST_SUSPECTS:]


def _respond_document(hunt: _Hunt) -> Response:
    """Return the job, or with ``?if=`` the effects of a failure, as the commands print them."""
    if hunt.job is None:
        return respond_json({"error": hunt.refused}, 400)
    if hunt.what_if:
        return respond_json(make_failures_document(hunt.chip, hunt.job.condition, hunt.what_if))
    return respond_json(make_job_document(hunt.job))


def _weigh(folio: Folio, chip: Chip, request: Request, fields: list[Field]) -> _Hunt:
    """Return the job of the address, and the failure it supposes with ``?if=``."""
    known = _list_symptoms(load_board(chip, find_working_condition(chip)))
    symptoms = [text for name, text in fields if name == "symptom" and text]
    failures: tuple[WhatIf, ...] = ()
    try:
        readings: tuple[AddressReading, ...] = read_address_fields(fields, list_spaced_names(chip))
        notes = folio.notes(chip.part)
        job = find_fault(
            chip,
            symptoms,
            [reading.taken for reading in readings],
            choose_own_instruments(request),
            request.args.get("condition"),
            notes,
            find_page_odds(),
        )
        supposed_ref = request.args.get("if")
        if supposed_ref:
            failures = predict_failures(job.board, supposed_ref)
    except _NOT_UNDERSTOOD as error:
        # The page shows the form again, with the reason.
        return _Hunt(chip, known, refused=str(error))
    bench = _take_chosen(make_bench_document(job, notes), request.args.get("next") or "")
    return _Hunt(chip, known, job, bench=bench, what_if=failures)


def _draw(hunt: _Hunt, addresses: Addresses, *, is_whole: bool) -> _Hunt:
    """Return the hunt with the place to measure drawn, and the whole chip where asked for."""
    if hunt.job is None or hunt.bench is None:
        return hunt
    return replace(
        hunt,
        place=_draw_place(hunt.job, hunt.bench["now"]),
        drawings=_draw_whole_chip(hunt.job, addresses) if is_whole else (),
    )


def _draw_whole_chip(job: Job, addresses: Addresses) -> tuple[str, str, str]:
    """Return the package from both sides and the stages, each with its mark."""
    chip, states = job.chip, judge_states(job)

    def link(pin: Pin) -> str:
        return addresses.pin(chip.part, pin.number)

    return (
        draw_package(chip, "top", None, link, states.package_marks),
        draw_package(chip, "solder", None, link, states.package_marks),
        draw_block_diagram(chip, link, states.block_marks),
    )


@lru_cache(maxsize=256)  # about 15 kB each; a hunt comes back to the same few pins
def _draw_screen(expectation: Expectation, title: str) -> str:
    return draw_expected_screen(expectation, title)


def _draw_place(job: Job, now: dict[str, Any]) -> _Place:
    """Return the place to measure now, and the picture of the expected trace.

    ``now`` is the next step as the document has it. The place is empty for a step that is no
    measurement of a voltage.
    """
    chip, point, number = job.chip, now["at"], now["pin"]
    # A part that is tested in circuit has no place of its own on the package.
    if now["kind"] != "measure" or now["quantity"] == "resistance":
        return _Place()
    test_point = find_test_point(chip, point)
    expectation = test_point.expectation(job.condition)
    view, picture = None, ""
    if expectation is not None:
        view = ConditionView(chip, test_point, expectation)
        if now["quantity"] in _WITH_A_SIGNAL:
            title = f"{chip.part} {describe_endpoint(chip, point)}, {expectation.condition}"
            picture = _draw_screen(expectation, title)
    # A node is found from a pin that one part joins to it.
    before = find_pin_before_node(chip, point) if number is None else None
    drawn_pin = number if before is None else before[1]
    if drawn_pin is None:
        return _Place(view, picture, meeting=describe_meeting(chip, point))
    return _Place(
        shown=view,
        picture=picture,
        drawings=(
            draw_pin_place(chip, drawn_pin, "top"),
            draw_pin_place(chip, drawn_pin, "solder"),
        ),
        words=(describe_place(chip, drawn_pin, "top"), describe_place(chip, drawn_pin, "solder")),
        meeting=describe_meeting(chip, point) if before is not None else "",
        neighbours=list_neighbours(chip, drawn_pin) if before is None else (),
        before=before,
    )


VIEWS: Final = (fault_finding,)
