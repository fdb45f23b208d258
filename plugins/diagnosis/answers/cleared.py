"""Parts and stages that are out of suspicion, each with the reason."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from ....schema.chips.usual_faults import describe_endpoint
from ..weighing.pictures import fit_of_symptoms
from ..weighing.posterior import find_thing
from .job import Job
from .wording import name_block

_NEVER_SHOWS: Final = 0.05  # of its failures' boards that show the complaint
_SUSPECTED: Final = 0.02  # the chance of what the readings speak for after all
_MEASURED: Final = "measured good"
_READINGS: Final = "the readings speak against it"


def list_cleared(job: Job) -> list[dict[str, Any]]:
    """Return the cleared parts and stages, grouped by reason, measured ones first.

    Each group: ``why``, ``what`` (references of parts, ids of stages) and their ``names``.
    """
    names_by_reason: dict[str, list[str]] = {}
    by_symptom = _list_never_shown(job)
    for name in dict.fromkeys([*job.cleared, *by_symptom]):
        reason = _find_reason(job, name, by_symptom)
        names_by_reason.setdefault(reason, []).append(name)
    # A measurement convinces most, a customer's words least.
    ordered = sorted(names_by_reason, key=lambda why: (why != _MEASURED, why.startswith("“")))
    return [
        {
            "why": reason,
            "what": names_by_reason[reason],
            "names": [name_block(job.chip, name) for name in names_by_reason[reason]],
        }
        for reason in ordered
    ]


def _find_reason(job: Job, name: str, by_symptom: Sequence[str]) -> str:
    """Return, in words, why a part or stage is cleared: the strongest reason there is."""
    if name in {result.ref for result in job.evidence.parts if result.is_good}:
        return _MEASURED
    outputs = next((block.outputs for block in job.chip.blocks if block.id == name), ())
    right_pins = {f"pin {one.pin.number}" for one in job.judged if one.is_right and one.pin.number}
    right_outputs = sorted(right_pins & {*outputs})
    if right_outputs:
        places = ", ".join(describe_endpoint(job.chip, pin) for pin in right_outputs)
        return f"its output reads right: {places}"
    if name in by_symptom:
        complaint = " and ".join(symptom.name for symptom in job.symptoms)
        return f"“{complaint}” would not come of it"
    return _READINGS


def _list_never_shown(job: Job) -> list[str]:
    """Return the parts and stages of which no failure shows the complaint.

    Those that the readings speak for are left out: a complaint may be told wrongly.
    """
    if not job.symptoms:
        return []
    board = job.board
    fits = fit_of_symptoms(board.chip, board.cloud, board.spreads, job.symptoms).mean(axis=1)
    best_fits: dict[str, float] = {}
    chances: dict[str, float] = {}
    for row, hypothesis in enumerate(board.cloud.hypotheses):
        # A stage is cleared by itself, though only the whole chip can be replaced.
        if find_thing(hypothesis)[0] in ("part", "chip"):
            name = hypothesis.what
            best_fits[name] = max(best_fits.get(name, 0.0), float(fits[row]))
            chances[name] = chances.get(name, 0.0) + float(job.found.chances[row])
    never_shown = [name for name, fit in best_fits.items() if fit < _NEVER_SHOWS]
    return [name for name in never_shown if chances[name] < _SUSPECTED]
