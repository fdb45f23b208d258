"""Parts and stages that are out of suspicion, each with the reason."""

from __future__ import annotations

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
    """Return the cleared parts and stages, grouped by reason: ``why``, ``what`` (references of
    parts, ids of stages) and their ``names``; measured ones come first."""
    reasons: dict[str, list[str]] = {}
    by_symptom = _list_never_shown(job)
    right_pins = {f"pin {one.pin.number}" for one in job.judged if one.is_right and one.pin.number}
    outputs = {block.id: block.outputs for block in job.chip.blocks}
    good = {result.ref for result in job.evidence.parts if result.is_good}
    complaint = " and ".join(symptom.name for symptom in job.symptoms)
    for what in dict.fromkeys([*job.cleared, *by_symptom]):
        read_right = sorted(right_pins & {*outputs.get(what, ())})
        if what in good:
            why = _MEASURED
        elif read_right:
            names = ", ".join(describe_endpoint(job.chip, pin) for pin in read_right)
            why = f"its output reads right: {names}"
        elif what in by_symptom:
            why = f"“{complaint}” would not come of it"
        else:
            why = _READINGS
        reasons.setdefault(why, []).append(what)
    ordered = sorted(reasons, key=lambda why: (why != _MEASURED, why.startswith("“")))
    return [
        {
            "why": why,
            "what": reasons[why],
            "names": [name_block(job.chip, what) for what in reasons[why]],
        }
        for why in ordered
    ]


def _list_never_shown(job: Job) -> list[str]:
    """Return the parts and stages of which no failure shows the complaint, unless the readings
    speak for them."""
    if not job.symptoms:
        return []
    board = job.board
    fits = fit_of_symptoms(board.chip, board.cloud, board.spreads, job.symptoms).mean(axis=1)
    best: dict[str, float] = {}
    chances: dict[str, float] = {}
    for row, hypothesis in enumerate(board.cloud.hypotheses):
        if find_thing(hypothesis)[0] in ("part", "chip"):
            what, chance = hypothesis.what, float(job.found.chances[row])
            best[what] = max(best.get(what, 0.0), float(fits[row]))
            chances[what] = chances.get(what, 0.0) + chance
    return [w for w, fit in best.items() if fit < _NEVER_SHOWS and chances[w] < _SUSPECTED]
