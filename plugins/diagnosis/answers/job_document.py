"""A job as plain data, as the command prints it with ``--json`` and the page serves it."""

from __future__ import annotations

from typing import Any, Final

from ....schema import Chip, print_value
from ....schema.chips.usual_faults import describe_endpoint
from ...cards.cautions import list_cautions_at
from ..deciding.next_step import Step
from ..evidence.observations import Observation
from ..evidence.part_tests import is_bad
from ..weighing.posterior import NONE
from .expected_values import write_expected_range
from .job import Job
from .meanings import list_outcomes
from .remedy import choose_remedy
from .resistance_checks import check_resistances
from .suspects import name_suspect
from .wording import QUANTITY, describe_measurement, describe_thing

_MOST: Final = 5
_SET_OFF = (
    "Set off, plug out, capacitors discharged and measured: an ohmmeter on a live or charged"
    " circuit is lost, and so may you be."
)
_DOES = {
    "joint": "solder again",
    "supply": "trace the supply",
    "outside": "look before this stage",
    "chip": "replace the chip",
    "part": "replace",
    "none": "look elsewhere",
}


def make_job_document(job: Job) -> dict[str, Any]:
    """Return where a hunt has come to."""
    chip = job.chip
    # None of these is not a thing to go after: it counts with the others.
    suspects = [suspect.document(chip) for suspect in job.suspects if suspect.thing != NONE]
    return {
        "part": chip.part,
        "condition": job.condition,
        "symptoms": [symptom.name for symptom in job.symptoms],
        "readings": _list_readings(job),
        "suspects": suspects,
        "others": max(1 - sum(suspect["probability"] for suspect in suspects), 0.0),
        "next": [describe_step(job, step) for step in job.measurements[:_MOST]],
        "set_off": [] if job.across is None else [describe_step(job, job.across)],
        "actions": [_describe_action(job, s) for s in job.steps if s.thing is not None][:_MOST],
        "again": [{"at": at, "quantity": q, "said": describe_measurement(chip, at, q)}
                  for at, q in job.again],
        "cleared": list(job.cleared),
        "contradictions": list(job.contradictions),
        "conclusion": job.conclusion,
    }  # fmt: skip


def _list_readings(job: Job) -> list[dict[str, Any]]:
    """Return every reading with its verdict, as far as there is one.

    First those that the catalogue judges, then figures without a catalogue value, resistances with
    the set off, and tests of parts.
    """
    judged = [one.document() for one in job.judged]
    judged_places = {
        place for one in job.judged for place in (f"pin {one.pin.number}", one.pin.symbol)
    }
    unjudged = [
        _describe_observation(job.chip, observation)
        for observation in job.evidence.observations
        if observation.point not in judged_places
    ]
    checks = check_resistances(job.board, job.evidence.resistances)
    resistances = [check.document(job.chip.part) for check in checks]
    part_tests = [
        {
            "part": job.chip.part,
            "at": result.ref,
            "quantity": "out of circuit",
            "reading": result.found,
            "verdict": result.outcome,
            "is_bad": is_bad(result.outcome),
            "why": [result.why],
        }
        for result in job.evidence.parts
    ]
    return [*judged, *unjudged, *resistances, *part_tests]


def _describe_observation(chip: Chip, observation: Observation) -> dict[str, Any]:
    """Return a reading that the catalogue does not judge: as a figure, a verdict, or a look."""
    figure = _print_figure(observation.value, observation.quantity)
    return {
        "part": chip.part,
        "at": observation.point,
        "name": describe_endpoint(chip, observation.point),
        "quantity": observation.quantity,
        "reading": figure or observation.verdict or ", ".join(observation.seen),
        "verdict": observation.verdict or "as read",
        "why": [],
    }


def _print_figure(value: float | None, quantity: str) -> str:
    units = {"dc": "V", "frequency": "Hz"}
    unit = units.get(quantity, "Vpp")
    return "" if value is None else print_value(value, unit, 6 if unit == "Hz" else 3)


def describe_step(job: Job, step: Step) -> dict[str, Any]:
    """Return one measurement that is proposed."""
    chip = job.chip
    return {
        "at": step.at,
        "name": describe_endpoint(chip, step.at),
        "quantity": step.quantity,
        "said": describe_measurement(chip, step.at, step.quantity),
        "asked": QUANTITY[step.quantity],
        "should_read": write_expected_range(job.board, step.at, step.quantity),
        "minutes": step.minutes,
        "outcomes": list_outcomes(chip, job.found, step),
        "cautions": list(find_cautions(chip, step)),
    }


def find_cautions(chip: Chip, step: Step) -> tuple[str, ...]:
    """Return the cautions for one measurement; with the set off, that it be off indeed."""
    cautions = list_cautions_at(chip, step.at)
    is_off = step.kind == "prove" or step.quantity == "resistance"
    return (_SET_OFF, *cautions) if is_off else cautions


def _describe_action(job: Job, step: Step) -> dict[str, Any]:
    """Return one proof or repair."""
    chip = job.chip
    assert step.thing is not None  # only such steps are asked for
    kind, name = step.thing
    likeliest_way = job.found.list_ways(step.thing)[0][0]
    remedy = choose_remedy(chip, likeliest_way)
    action = _DOES[kind]
    if step.kind == "prove":
        action = "bridge" if step.is_bridge else "prove"
    return {
        "action": action,
        "kind": likeliest_way.kind,
        "what": name_suspect(likeliest_way),
        "thing": describe_thing(chip, kind, name),
        "failure": likeliest_way.failure,
        "probability": job.found.share_of(step.thing),
        "minutes": step.minutes,
        "how": remedy.prove,
        "fit": remedy.fit,
        "check": list(remedy.check),
    }
