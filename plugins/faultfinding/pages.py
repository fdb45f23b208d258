"""Fault finding as a page: symptom and readings stand in its address, nothing is kept."""

from __future__ import annotations

from datasette.app import Datasette
from datasette.utils.asgi import Request, Response

from ...loaders import Folio, UnknownPart
from ...schema import Chip
from ...schema.instrument import Instruments, UnknownInstrument
from ..cards.pin_card import UnknownCondition, UnknownPin
from ..cards.usual_faults import in_words
from ..instruments.choosing import known_or_ordinary
from ..readings.checks import NothingKnown
from ..readings.reading import BadReading
from ..search.marking import chip_marked
from ..web import as_json, ask, from_address, nothing_here, page
from .job import Job, find_fault
from .one_line import reading_of
from .symptoms import Symptom, UnknownSymptom, symptoms_of

_NOT_UNDERSTOOD = (BadReading, UnknownPin, UnknownCondition, UnknownSymptom, NothingKnown)
_MOST_READINGS = 60


async def fault_finding(datasette: Datasette, request: Request) -> Response:
    """Suspects and the next probe for ``?symptom=`` and ``?readings=``, one reading a line."""
    part = from_address(request.url_vars["part"])
    symptoms = [s for s in request.args.getlist("symptom") if s]
    lines = _lines(request)
    condition = request.args.get("condition")
    wants_json = bool(request.url_vars["format"])

    def hunted(folio: Folio) -> tuple[Chip, tuple[Symptom, ...], Job | None, str]:
        chip = chip_marked(folio, part)
        known = symptoms_of(chip)
        try:
            taken = [reading_of(line) for line in lines]
            return chip, known, find_fault(chip, symptoms, taken, _chosen(request), condition), ""
        except _NOT_UNDERSTOOD as refused:
            return chip, known, None, str(refused)

    try:
        chip, known, job, refused = await ask(datasette, hunted)
    except (UnknownPart, UnknownInstrument) as unknown:
        if wants_json:
            return as_json({"error": str(unknown)}, status=404)
        return await nothing_here(datasette, request, f"{unknown}.", part)
    if wants_json:
        return as_json({"error": refused}, 400) if job is None else as_json(job.document())
    return await page(
        datasette,
        request,
        "fault_finding.html",
        chip=chip,
        known=known,
        job=job,
        refused=refused,
        symptoms=symptoms,
        lines="\n".join(lines),
        in_words=lambda end: in_words(chip, end),
    )


def _lines(request: Request) -> list[str]:
    """The readings in the address: a line each, or a parameter each."""
    typed = (request.args.get("readings") or "").splitlines()
    given = [*request.args.getlist("reading"), *typed]
    return [line.strip() for line in given if line.strip()][:_MOST_READINGS]


def _chosen(request: Request) -> Instruments:
    names = (request.args.get(sort) for sort in ("meter", "probe", "scope"))
    return known_or_ordinary().choose(*names)
