"""A finished job as a note: symptom and readings, the cause where it was proved, and the cure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from ....loaders.shop.note_files import draw_note_id
from ....schema.note import Note
from ....schema.reading import Reading
from ...notes.note_form import Form, build_note
from ...notes.note_view import describe_readings
from ...notes.similar_cases import convert_reading
from ...readings.verdict import PinVerdict
from ..weighing.posterior import Thing
from .job import Job
from .proved_cause import describe_cause, find_proved_cause

_MOST_BESIDE: Final = 20  # readings in the note's text, whose length is bounded


def build_job_note(job: Job, cure: str, signed: Form, shop: str) -> Note:
    """Return the fault and its remedy as a note, at the reading that was wrong.

    Only a part or joint that was proved bad is named as the cause. Mere suspects are named in the
    text, and do not count in a later hunt. ``signed`` are the author and date.
    Raises BadForm.
    """
    cause = find_proved_cause(job)
    readings = list(zip(job.judged, job.figures, strict=True))
    wrong_numbers = [n for n, (verdict, _) in enumerate(readings) if not verdict.is_right]
    # The note is about one reading: the first wrong one, else the first.
    main_reading = readings.pop(wrong_numbers[0] if wrong_numbers else 0) if readings else None
    lines = [f"- {one}" for one in _list_other_readings(job, readings)[:_MOST_BESIDE]]
    if cause is None:
        lines = [_write_unproved_cure(job, cure), "", *lines]
    wrong_verdicts = [f"{_name_place(v)}: {v.verdict}" for v in job.judged if not v.is_right]
    form = {
        "kind": "fault and remedy",
        "chip": job.chip.part,
        "at": _name_place(main_reading[0]) if main_reading else _choose_place(cause, job),
        "condition": job.condition,
        "symptom": "; ".join(job.told or wrong_verdicts) or "no symptom told",
        **(describe_cause(cause, job) if cause is not None else {}),
        "cure": cure,
        "text": "\n".join(lines),
    }
    fields: dict[str, Any] = {"id": draw_note_id(), "shop": shop}
    if main_reading:
        fields["readings"] = convert_reading(main_reading[1])
    cured_reading = _find_cured(job, form["at"])
    if cured_reading is not None:
        fields["readings_after"] = convert_reading(cured_reading)
    return build_note(form | signed, **fields)


def _list_other_readings(job: Job, readings: Sequence[tuple[PinVerdict, Reading]]) -> list[str]:
    """Return readings in words, then the tests of parts, then the readings after the cure."""
    return [
        *(_describe_reading(verdict, figures) for verdict, figures in readings),
        *(f"{one.ref}, out of circuit: {one.found}" for one in job.evidence.parts),
        *(
            f"after the cure, {_describe_reading(verdict, figures)}"
            for verdict, figures in job.judged_after
        ),
    ]


def _find_cured(job: Job, at: str) -> Reading | None:
    """Return the last right reading after the cure at a place; None without one."""
    cured = [
        one for judged, one in job.judged_after if judged.is_right and _name_place(judged) == at
    ]
    return cured[-1] if cured else None


def _write_unproved_cure(job: Job, cure: str) -> str:
    suspected = ", ".join(f"{one.said} ({one.probability:.0%})" for one in job.suspects[:3])
    return f"Cured by: {cure}; cause not proved. Suspected: {suspected}."


def _name_place(judged: PinVerdict) -> str:
    return f"pin {judged.pin.number}" if judged.pin.number else judged.pin.symbol


def _choose_place(cause: Thing | None, job: Job) -> str:
    """Return the place of a note without readings: the cause, or the first pin of the leading
    suspect."""
    if cause is not None:
        return cause[1] if cause[0] == "part" else f"pin {cause[1]}"
    checks = job.suspects[0].remedy.check if job.suspects else ()
    return next((at for at in checks if at.startswith("pin ")), "pin 1")


def _describe_reading(judged: PinVerdict, figures: Reading) -> str:
    read = describe_readings(convert_reading(figures))
    return f"{_name_place(judged)}: {', '.join(filter(None, (read, judged.verdict)))}"
