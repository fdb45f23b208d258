"""The one thing to do now, and the figures that must be right after the cure, as plain data."""

from __future__ import annotations

from typing import Any, Final

from ....schema import Chip
from ....schema.chips.usual_faults import describe_endpoint
from ....schema.model import pin_number
from ...drawing import pin_place
from ...drawing.pin_place import list_neighbours
from ...readings.places import find_part
from ...readings.verdict import PinVerdict
from ..deciding.next_step import Step
from ..evidence.observations import find_point_limits
from ..evidence.part_tests import find_unit
from ..weighing.posterior import Thing
from .expected_values import ExpectedValue, find_expected_value
from .job import Job
from .job_document import find_cautions
from .meanings import list_outcomes
from .remedy import Remedy, choose_remedy
from .suspects import name_suspect
from .wording import QUANTITY, describe_measurement, describe_thing

FIELDS: Final = {"dc": "dc", "vpp": "vpp", "frequency": "freq", "ripple": "ripple",
          "resistance": "ohms"}  # fmt: skip
"""By quantity: the field of an address that takes its reading (``readings/address_fields.py``)."""
_OUT_OF_CIRCUIT: Final = "out of circuit"
_UNITS: Final = {"dc": "V", "vpp": "Vpp", "frequency": "Hz", "ripple": "Vpp", "resistance": "Ω"}
_JUST_REPAIRED: Final = ("frequency", "vpp", "dc")  # the figure that shows a cure soonest first
_PROOF_ANSWERS: Final = {
    "Good": "good",
    "Open": "open",
    "Shorted": "shorted",
    "Leaky": "leaky",
    "Its joint was bad": "joint bad",
    "Cannot reach it": "skip",
}
"""By label: the result of a part tested out of circuit, as a reading has it."""

Answer = dict[str, str]


def describe_action(job: Job, step: Step | None = None) -> dict[str, Any]:
    """Return the one thing to do now, or another step.

    ``kind``: ``measure``, ``prove`` (a part, out of circuit), ``fit`` (a part that was proved bad),
    ``repair`` (of a joint, a feed, the chip: nothing there to measure), ``nothing``. ``said``: all
    of it in a sentence; ``steps``: the same, one by one. ``at``, ``name``, ``pin`` (number or
    None) and ``neighbours`` (numbers of the pins beside it) tell where, ``where`` says it in words;
    ``quantity``, ``asked`` (in words), ``unit`` and ``expected`` (see ``ExpectedValue.document``;
    None if unknown) name the figure. ``fields`` are the address's fields before the answer and
    ``field`` the name of the answer's; ``answers`` those without a figure, each with
    ``label``, ``field`` and ``value``. ``outcomes``: the meaning of each answer;
    ``cautions`` for this place; ``minutes``.
    """
    # A part that was proved bad is replaced before anything else is measured.
    fitted = _find_proved_thing(job) if step is None else None
    if fitted is not None:
        return _fit(job, fitted)
    step = step or job.across or next(iter(job.steps), None)
    if step is None:
        return _describe("nothing", job.conclusion)
    if step.kind == "measure":
        return _measure(job, step)
    return _prove(job, step) if step.kind == "prove" else _describe_repair(job, step)


def describe_place(job: Job, at: str, quantity: str) -> dict[str, Any]:
    """Return a reading to take, as plain data.

    ``at``, ``name``, ``pin``, ``neighbours``, ``where``, ``quantity``, ``asked``, ``unit``,
    ``expected``, ``field`` and ``said``: see ``describe_action``.
    """
    expected = find_expected_value(job.board, at, quantity)
    number = pin_number(at)
    return {
        "at": at,
        "name": describe_endpoint(job.chip, at),
        "pin": number,
        "neighbours": [] if number is None else _list_pins_beside(job.chip, number),
        "where": "" if number is None else _describe_place(job.chip, number),
        "quantity": quantity,
        "asked": QUANTITY[quantity],
        "unit": _UNITS.get(quantity, ""),
        "expected": None if expected is None else expected.document(),
        "field": FIELDS.get(quantity, "found"),
        "said": describe_measurement(job.chip, at, quantity),
    }


def list_checks(job: Job) -> list[dict[str, Any]]:
    """Return the figures that must be right after the cure, each as ``describe_place``.

    They are those that were wrong, then one of every point that the leading suspect touches; not
    those that were read right since.
    """
    checks: dict[tuple[str, str], None] = {}  # in order, each once
    for verdict in job.judged:
        if not verdict.is_right:
            point = _name_point(verdict)
            checks |= dict.fromkeys((point, q) for q in _list_wrong_quantities(job, verdict))
    for point in _find_leading_remedy(job).check:
        stated = find_point_limits(job.chip, point, job.condition)
        quantity = next((q for q in _JUST_REPAIRED if q in stated), None)
        if quantity is not None and not any(place == point for place, _ in checks):
            checks[point, quantity] = None
    read_right = {
        (_name_point(verdict), result.expected.quantity)
        for verdict, _ in job.judged_after
        for result in verdict.results
        if verdict.is_right
    }
    return [describe_place(job, *check) for check in checks if check not in read_right]


def _list_wrong_quantities(job: Job, verdict: PinVerdict) -> tuple[str, ...]:
    """Return the quantities of a wrong reading that must be read again."""
    quantities = [result.expected.quantity for result in verdict.results]
    if quantities:
        return tuple(quantity for quantity in quantities if quantity in FIELDS)
    # A word alone, such as "nothing there", was about the signal.
    stated = find_point_limits(job.chip, _name_point(verdict), job.condition)
    return tuple(quantity for quantity in ("vpp", "dc") if quantity in stated)[:1]


def _name_point(verdict: PinVerdict) -> str:
    return f"pin {verdict.pin.number}" if verdict.pin.number else verdict.pin.symbol


def _find_leading_remedy(job: Job) -> Remedy:
    proved = _find_proved_thing(job)
    thing = proved or job.suspects[0].thing
    return choose_remedy(job.chip, job.found.list_ways(thing)[0][0])


def _find_proved_thing(job: Job) -> Thing | None:
    """Return the part or joint that was proved bad last, unless the readings want more than it."""
    bad = job.evidence.proved
    if not bad or (job.steps and job.steps[0].kind != "repair"):
        return None
    return bad[-1] if bad[-1] in job.found.things else None


def _describe(kind: str, said: str, **more: Any) -> dict[str, Any]:
    """Return an action; fields that do not apply are empty."""
    empty: dict[str, Any] = {
        "at": "",
        "name": "",
        "pin": None,
        "neighbours": [],
        "where": "",
        "quantity": "",
        "asked": "",
        "unit": "",
        "expected": None,
        "field": "",
        "fields": [],
        "answers": [],
        "steps": [],
        "outcomes": [],
        "cautions": [],
        "minutes": 0.0,
    }
    return {"kind": kind, "said": said} | empty | more


def _measure(job: Job, step: Step) -> dict[str, Any]:
    """Return a measurement as an action."""
    place = describe_place(job, step.at, step.quantity)
    return _describe(
        "measure",
        fields=[["at", step.at.removeprefix("pin ")]],
        answers=_list_answers(place["field"], step.quantity),
        steps=_list_measuring_steps(job.chip, step, place["said"]),
        outcomes=list_outcomes(job.chip, job.found, step),
        cautions=list(find_cautions(job.chip, step)),
        minutes=step.minutes,
        **place,
    )


def _list_measuring_steps(chip: Chip, step: Step, said: str) -> list[str]:
    """Return how to take a measurement: in a sentence, or for a resistance one by one."""
    part = find_part(chip, step.at) if step.quantity == "resistance" else None
    if part is None:
        return [f"{said[:1].upper()}{said[1:]}."]
    first, second = (end if end == "ground" else describe_endpoint(chip, end) for end in part.joins)
    return [
        "Switch off, pull the plug, discharge the capacitors and measure that they are.",
        f"Ohmmeter across {part.ref}, from {first} to {second}; nothing is lifted.",
    ]


def _list_answers(field: str, quantity: str) -> list[Answer]:
    """Return the answers to a measurement that need no figure."""
    if quantity == "resistance":
        return [_make_answer("Cannot reach it", field, "skip")]
    answers = [_make_answer("Right", field, "ok"), _make_answer("Nothing there", field, "none")]
    answers.append(_make_answer("Jumping", field, "jumping"))
    if quantity in ("vpp", "frequency"):
        answers.append(_make_answer("Distorted", field, "distorted"))
    return [*answers, _make_answer("Cannot reach it", field, "skip")]


def _make_answer(label: str, field: str, value: str) -> Answer:
    return {"label": label, "field": field, "value": value}


def _prove(job: Job, step: Step) -> dict[str, Any]:
    """Return the test of a part out of circuit as an action."""
    chip, ref = job.chip, step.at
    part = find_part(chip, ref)
    assert part is not None  # a proof is proposed of parts alone
    likeliest_way = job.found.list_ways(("part", ref))[0][0]
    expected = find_expected_value(job.board, ref, _OUT_OF_CIRCUIT)
    place = describe_place(job, ref, _OUT_OF_CIRCUIT)
    return _describe(
        "prove",
        **place | {"name": ref, "unit": find_unit(part) or ""},
        fields=[["part", ref]],
        answers=[_make_answer(label, "found", value) for label, value in _PROOF_ANSWERS.items()],
        steps=_list_proof_steps(ref, choose_remedy(chip, likeliest_way).prove, expected),
        outcomes=list_outcomes(chip, job.found, step),
        cautions=list(find_cautions(chip, step)),
        minutes=step.minutes,
    )


def _list_proof_steps(ref: str, prove: str, expected: ExpectedValue | None) -> list[str]:
    """Return how to prove a part, its joints first. Common practice."""
    steps = [
        f"Look at the joints of {ref} under a lens and solder them again; look whether that cured"
        " it.",
        prove,
    ]
    return [*steps, f"Out of circuit good is {expected.span}."] if expected is not None else steps


def _fit(job: Job, thing: Thing) -> dict[str, Any]:
    """Return the replacement of a part or joint that was proved bad."""
    kind, name = thing
    remedy = choose_remedy(job.chip, job.found.list_ways(thing)[0][0])
    title = describe_thing(job.chip, kind, name)
    # The remedy of a part is a value to fit, that of a joint a whole sentence.
    repair = f"Fit {remedy.fit}" if kind == "part" else remedy.fit
    checks = [check["said"] for check in list_checks(job)]
    steps = [f"{repair.rstrip('.')}.", *(f"Read again: {check}." for check in checks)]
    return _describe(
        "fit",
        f"{title[:1].upper()}{title[1:]} proved bad. {steps[0]}",
        at=name if kind == "part" else f"pin {name}",
        name=title,
        steps=steps,
    )


def _describe_repair(job: Job, step: Step) -> dict[str, Any]:
    """Return a repair that no measurement can decide any more."""
    assert step.thing is not None  # a repair is of something
    kind, name = step.thing
    likeliest_way = job.found.list_ways(step.thing)[0][0]
    remedy = choose_remedy(job.chip, likeliest_way)
    title = describe_thing(job.chip, kind, name)
    place = name_suspect(likeliest_way)
    fields, answers = list[list[str]](), list[Answer]()
    # After the repair of a part or joint, trying the set shows whether it was the cause.
    if kind in ("joint", "part"):
        fields = [["part", place]]
        cured, unchanged = ("joint bad", "resoldered") if kind == "joint" else ("bad", "good")
        answers = [
            _make_answer("That cured it", "found", cured),
            _make_answer("No change", "found", unchanged),
        ]
    return _describe(
        "repair",
        f"{title[:1].upper()}{title[1:]}: {remedy.fit}",
        at=place,
        name=title,
        fields=fields,
        field="found" if fields else "",
        answers=answers,
        steps=[*filter(None, (remedy.prove, remedy.leg_or_track)), remedy.fit],
        minutes=step.minutes,
    )


def _list_pins_beside(chip: Chip, number: int) -> list[int]:
    """Return the pins beside a pin in its row."""
    return [int(name.split(" ")[0]) for name in list_neighbours(chip, number)]


def _describe_place(chip: Chip, number: int) -> str:
    """Return ``left row, 4th from the notch end, beside 3 GND1 and 5 APC``."""
    beside = " and ".join(list_neighbours(chip, number))
    return f"{pin_place.describe_place(chip, number)}{f', beside {beside}' if beside else ''}"
