"""Fault finding as a page: symptom and readings stand in its address, nothing is kept."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final
from urllib.parse import parse_qsl

from datasette.app import Datasette
from datasette.utils.asgi import Request, Response

from ....loaders import Folio, UnknownPart
from ....schema import Chip, Part, Pin, print_value
from ....schema.chips.lookup import UnknownCondition, UnknownPin
from ....schema.chips.usual_faults import describe_endpoint
from ....schema.instruments import Instruments, UnknownInstrument
from ....schema.reading import BadReading
from ...cards.pin_card import ConditionView
from ...diagnosis.answers.hunt import find_fault
from ...diagnosis.answers.job import Job
from ...diagnosis.answers.job_document import job_document
from ...diagnosis.answers.states import states_of
from ...diagnosis.answers.what_if import UnknownSuspect, WhatIf, what_if, what_if_document
from ...diagnosis.symptoms.catalogue import Symptom, UnknownSymptom
from ...diagnosis.weighing.known_board import known_board, working_condition
from ...diagnosis.weighing.shop_odds import odds_for_a_page
from ...diagnosis.weighing.symptom_list import symptoms_of
from ...drawing.block_diagram import draw_block_diagram
from ...drawing.package_drawing import draw_package
from ...drawing.scope_picture import draw_scope
from ...instruments.known_instruments import load_instruments
from ...readings.address_fields import read_address_fields
from ...readings.places import find_part, find_test_point
from ...readings.reading_syntax import Taken
from ...search.marking_lookup import find_chip
from ..page_context import Addresses, ask, from_address, nothing_here, page, respond_json

_NOT_UNDERSTOOD = (
    BadReading,
    UnknownPin,
    UnknownCondition,
    UnknownSymptom,
    UnknownSuspect,
)


@dataclass(frozen=True)
class _Hunt:
    """What the address asks for, weighed and drawn; ``refused`` says why where it cannot be."""

    chip: Chip
    known: tuple[Symptom, ...]
    job: Job | None = None
    refused: str = ""
    top: str = ""
    solder: str = ""
    blocks: str = ""
    shown: ConditionView | None = None
    """What the point to be measured next should show."""
    picture: str = ""
    part: Part | None = None
    """The part to be measured next."""
    what_if: tuple[WhatIf, ...] = ()
    """What a part named by ``?if=`` would change, had it failed."""


async def fault_finding(datasette: Datasette, request: Request) -> Response:
    """Suspects and the next probe for ``?symptom=`` and ``?readings=``, one reading a line."""
    part = from_address(request.url_vars["part"])
    symptoms = _symptoms(request)
    wants_json = bool(request.url_vars["format"])
    addresses = Addresses(datasette)

    def hunted(folio: Folio) -> _Hunt:
        chip = find_chip(folio, part)
        hunt = _weighed(folio, chip, request, symptoms)
        return hunt if wants_json else _drawn(hunt, addresses)

    try:
        hunt = await ask(datasette, hunted)
    except (UnknownPart, UnknownInstrument) as unknown:
        if wants_json:
            return respond_json({"error": str(unknown)}, status=404)
        return await nothing_here(datasette, request, f"{unknown}.", part)
    if wants_json:
        return _as_json(hunt)
    return await page(
        datasette,
        request,
        "fault_finding.html",
        hunt=hunt,
        chip=hunt.chip,
        job=hunt.job,
        document=job_document(hunt.job) if hunt.job is not None else None,
        symptoms=symptoms,
        lines="\n".join(_written(hunt, request)),
        in_words=lambda end: describe_endpoint(hunt.chip, end),
        volts=print_value,
    )


def _as_json(hunt: _Hunt) -> Response:
    """The job, or with ``?if=`` what a failure would change, as the commands print them."""
    if hunt.job is None:
        return respond_json({"error": hunt.refused}, 400)
    if hunt.what_if:
        return respond_json(what_if_document(hunt.chip, hunt.job.condition, hunt.what_if))
    return respond_json(job_document(hunt.job))


def _weighed(folio: Folio, chip: Chip, request: Request, symptoms: list[str]) -> _Hunt:
    """The job that the address asks for, and what it supposes with ``?if=``."""
    known = symptoms_of(known_board(chip, working_condition(chip)))
    failures: tuple[WhatIf, ...] = ()
    try:
        taken = _readings(request)
        chosen, odds = _chosen(request), odds_for_a_page()
        condition, notes = request.args.get("condition"), folio.notes(chip.part)
        job = find_fault(chip, symptoms, taken, chosen, condition, notes, odds)
        if supposed := request.args.get("if"):
            failures = what_if(job.board, supposed)
    except _NOT_UNDERSTOOD as refused:
        return _Hunt(chip, known, refused=str(refused))
    return _Hunt(chip, known, job, what_if=failures)


def _drawn(hunt: _Hunt, addresses: Addresses) -> _Hunt:
    """With the package from both sides and the block diagram, every pin and stage with its state;
    and what the next point should show."""
    chip, job = hunt.chip, hunt.job
    if job is None:
        return hunt
    states = states_of(job)
    shown, picture, part = _next_shown(job)

    def link(pin: Pin) -> str:
        return addresses.pin(chip.part, pin.number)

    return replace(
        hunt,
        top=draw_package(chip, "top", None, link, states.package_marks),
        solder=draw_package(chip, "solder", None, link, states.package_marks),
        blocks=draw_block_diagram(chip, link, states.block_marks),
        shown=shown,
        picture=picture,
        part=part,
    )


def _next_shown(job: Job) -> tuple[ConditionView | None, str, Part | None]:
    """What the next point should show, its picture where that is a signal; or the next part."""
    if not job.measurements:
        return None, "", None
    chip, step = job.chip, job.measurements[0]
    part = find_part(chip, step.at) if step.kind == "prove" else None
    if part is not None:
        return None, "", part
    expectation = find_test_point(chip, step.at).expectation(job.condition)
    if expectation is None:
        return None, "", None
    shown = ConditionView(chip, find_test_point(chip, step.at), expectation)
    if not shown.has_picture or shown.trace is None or shown.settings is None:
        return shown, "", None
    title = f"{chip.part} {describe_endpoint(chip, step.at)}, {shown.condition}"
    return shown, draw_scope(shown.trace, shown.settings, title), None


def _symptoms(request: Request) -> list[str]:
    return [symptom for symptom in request.args.getlist("symptom") if symptom]


def _readings(request: Request) -> list[Taken]:
    """Return the readings in the address. Raises BadReading."""
    fields = parse_qsl(request.query_string, keep_blank_values=True)
    return [reading.taken for reading in read_address_fields(fields)]


def _written(hunt: _Hunt, request: Request) -> list[str]:
    """Return the readings in lines; what was not understood as it was typed."""
    if hunt.job is None:
        return [*request.args.getlist("reading"), *request.args.getlist("readings")]
    return [reading.text for reading in hunt.job.readings]


def _chosen(request: Request) -> Instruments:
    names = (request.args.get(sort) for sort in ("meter", "probe", "scope"))
    return load_instruments().choose(*names)


ROUTES: Final = [(r"^/chip/(?P<part>[^/]+)/fault-finding(?P<format>\.json)?$", fault_finding)]
