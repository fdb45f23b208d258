"""A finished job as a note: what the set did, what was read, what had failed, what cured it."""

from __future__ import annotations

from typing import Any, Final

from ....loaders.shop.note_files import draw_note_id
from ....schema.errors import Unknown
from ....schema.note import Note
from ....schema.reading import Reading
from ...notes.note_form import Form, build_note
from ...notes.note_view import describe_readings
from ...notes.similar_cases import convert_reading
from ...readings.verdict import PinVerdict
from ..evidence.part_tests import is_bad
from .job import Job
from .suspects import Suspect, what_of

_SURE: Final = 0.5  # likelier than all others together
_MOST_BESIDE: Final = 20  # readings in the note's text, whose length is bounded


class NotSettled(Unknown):
    """No suspect stands out yet; the message says what can be done."""


def note_of_job(job: Job, cure: str, signed: Form, shop: str) -> Note:
    """The fault and its remedy: the first suspect, at the reading that was wrong.

    ``signed`` are the author and date. Raises NotSettled, BadForm.
    """
    first = _settled(job)
    read = list(zip(job.judged, job.figures, strict=True))
    wrong = [index for index, (judged, _) in enumerate(read) if not judged.is_right]
    telling = read.pop(wrong[0] if wrong else 0) if read else None
    also = [_also(judged, one) for judged, one in read]
    also += [f"{result.ref}, out of circuit: {result.found}" for result in job.evidence.parts]
    said = [f"{_place(judged)}: {judged.verdict}" for judged in job.judged if not judged.is_right]
    form = {
        "kind": "fault and remedy",
        "chip": job.chip.part,
        "at": _place(telling[0]) if telling else _place_of(first, job),
        "condition": job.condition,
        "symptom": "; ".join(job.told or said),
        **_failed(first, job),
        "cure": cure,
        "text": "\n".join(f"- {told}" for told in also[:_MOST_BESIDE]),
    }
    fields: dict[str, Any] = {"id": draw_note_id(), "shop": shop}
    if telling:
        fields["readings"] = convert_reading(telling[1])
    return build_note(form | signed, **fields)


def _settled(job: Job) -> Suspect:
    """Return the cause: what was proved bad; where nothing was, what is likelier than all else."""
    proved = [result.ref for result in job.evidence.parts if is_bad(result.outcome)]
    for suspect in job.suspects:
        if suspect.thing[0] == "part" and suspect.thing[1] in proved:
            return suspect
    first = job.suspects[0] if job.suspects else None
    if first is None or first.hypothesis.kind == "none" or first.probability <= _SURE:
        names = ", ".join(f"{one.said} {one.probability:.0%}" for one in job.suspects[:3])
        hint = "measure on, or say which it was with 'pinfolio note add'"
        raise NotSettled(f"no suspect is likelier than all others together ({names}); {hint}")
    return first


def _failed(suspect: Suspect, job: Job) -> Form:
    """Return the part and how it had failed, as it was found where it was; to what degree was only
    supposed."""
    if suspect.hypothesis.kind != "part":
        return {"failure": suspect.said}
    ref = suspect.hypothesis.what
    found = [r.outcome for r in job.evidence.parts if r.ref == ref and is_bad(r.outcome)]
    failure = found[-1] if found and found[-1] != "bad" else suspect.hypothesis.failure
    return {"part": ref, "failure": failure.split(",")[0]}


def _place(judged: PinVerdict) -> str:
    return f"pin {judged.pin.number}" if judged.pin.number else judged.pin.symbol


def _place_of(suspect: Suspect, job: Job) -> str:
    """Where a note on a suspect hangs when nothing was read: a supply has no name as a place."""
    if suspect.hypothesis.kind == "supply":
        supply = next(s for s in job.chip.supplies if s.name == suspect.hypothesis.what)
        return f"pin {supply.pins[0]}"
    return what_of(suspect.hypothesis) if suspect.hypothesis.kind != "stage" else "pin 1"


def _also(judged: PinVerdict, figures: Reading) -> str:
    read = describe_readings(convert_reading(figures))
    return f"{_place(judged)}: {', '.join(filter(None, (read, judged.verdict)))}"
