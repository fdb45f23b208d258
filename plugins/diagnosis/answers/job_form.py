"""A hunt as the form of a note: a cause is put down only where it was proved."""

from __future__ import annotations

from typing import Any, Final

from ....schema import print_value
from ....schema.reading import Reading
from ...notes.note_form import Form
from .job import Job
from .proved_cause import describe_cause, find_proved_cause

_MOST_BESIDE: Final = 20  # readings in the note's text
_UNITS: Final = {"dc": "V", "vpp": "Vpp", "freq": "Hz", "ohms": "Ω"}
_NOT_PROVED: Final = "Cause not proved."


def form_of_job(job: Job, bench: dict[str, Any]) -> Form:
    """Return the fields of a note on a hunt; ``bench`` is its ``make_bench_document``.

    The place is that of the first reading that was wrong; the other readings are in the text.
    """
    form = {
        "kind": "fault and remedy",
        "chip": job.chip.part,
        "condition": job.condition,
        "symptom": "; ".join(job.told),
        **_fill_cause(job, bench),
    }
    readings = zip(job.judged, job.figures, strict=True)
    first_wrong = next((pair for pair in readings if not pair[0].is_right), None)
    if first_wrong is not None:
        verdict, figures = first_wrong
        form["at"] = f"pin {verdict.pin.number}" if verdict.pin.number else verdict.pin.symbol
        form |= _fill_figures(figures)
    else:
        form["at"] = bench["now"]["at"] or "pin 1"
    # The bench has the newest reading first; a note tells them as they were taken.
    rows = [_describe_row(row) for row in reversed(bench["read"])][:_MOST_BESIDE]
    remark = [] if "proof" in form else [_NOT_PROVED]
    form["text"] = "\n".join([*remark, *rows])
    return {name: text for name, text in form.items() if text}


def _fill_cause(job: Job, bench: dict[str, Any]) -> Form:
    """Return the proved cause and its cure; nothing where no cause was proved."""
    cause = find_proved_cause(job)
    if cause is None:
        return {}
    cure = bench["now"]["steps"][0] if bench["now"]["kind"] == "fit" else ""
    if not cure and cause[0] == "joint":
        cure = "Soldered again."
    return describe_cause(cause, job) | {"cure": cure}


def _fill_figures(figures: Reading) -> Form:
    given = {
        "dc": figures.dc_v,
        "vpp": figures.vpp_v,
        "freq": figures.frequency_hz,
        "ohms": figures.resistance_ohm,
    }
    form = {
        name: print_value(value, _UNITS[name], None)
        for name, value in given.items()
        if value is not None
    }
    return form | ({"seen": figures.seen[0]} if figures.seen else {})


def _describe_row(row: dict[str, Any]) -> str:
    return f"- {row['line']}: {row['verdict']}"
