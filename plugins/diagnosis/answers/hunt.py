"""A fault-finding job: symptoms and readings in, suspects and next steps out.

``find_fault`` is the one function that the command, the page and the JSON call.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence, Set
from typing import Any, Final, NamedTuple

from ....schema import Chip
from ....schema.chips.lookup import find_condition
from ....schema.instruments import Instruments
from ....schema.note import Note
from ...readings.checks import NoExpectation, check_pin
from ...readings.places import find_test_point
from ...readings.reading_syntax import PointReading, Taken
from ...readings.verdict import PinVerdict
from ..board.cloud import Hypothesis
from ..deciding.across_parts import RESISTANCE, choose_part_to_cross
from ..deciding.effort import Efforts
from ..deciding.next_step import Step, next_steps
from ..evidence.observations import Evidence, gather_evidence, resolve
from ..symptoms.catalogue import Symptom, find_symptom
from ..weighing.chip_doubt import add_chip_doubt
from ..weighing.known_board import KnownBoard, find_working_condition, load_board
from ..weighing.posterior import NONE, Posterior, compute_posterior, weigh_findings
from ..weighing.priors import compute_prior, load_usual_odds
from ..weighing.resistances import weigh_resistances
from .after_cure import conclude_cure, find_readings_after_cure, leave_out
from .conclusion import conclude
from .doubts import choose_repeats, list_contradictions
from .focus import focus_on_complaint, order_by_complaint
from .job import Job, keep_live_figures
from .resistance_checks import list_junction_parts
from .suspects import list_suspects
from .swapped_readings import MixUp, doubt_readings, find_mix_ups

_QUANTITIES: Final = ("dc", "vpp", "frequency", "ripple")
_PROVED: Final = 0.5  # a part found bad that may well be all that is wrong
_ENOUGH: Final = 12  # readings of a set without symptoms, when no suspect is above _STANDS_OUT
_FEEDING: Final = ("supply", "reference")
_STANDS_OUT: Final = 0.3
_FALLEN_TO: Final = 0.1  # of its chance before anything was read, for a thing that is cleared
_HARDLY: Final = 1e-3  # and its chance at most


def find_fault(
    chip: Chip,
    symptoms: Sequence[str],
    readings: Sequence[Taken],
    chosen: Instruments,
    condition: str | None = None,
    notes: Iterable[Note] = (),
    odds: Mapping[str, Any] | None = None,
    chassis: str | None = None,
) -> Job:
    """Return the suspects ranked by the symptoms and the readings, and the next steps.

    ``notes`` are those on the chip: a part that failed before is likelier to have failed again, the
    more so in the same ``chassis``. ``odds`` are the shop's own. Raises
    UnknownSymptom, UnknownPin, UnknownCondition and BadReading.
    """
    name = find_condition(chip, condition) if condition else find_working_condition(chip)
    notes = tuple(notes)
    known_symptoms = tuple(find_symptom(chip, symptom) for symptom in symptoms)
    board = load_board(chip, name)
    chip = board.chip  # the same text; what is kept between steps is known by this object
    taken = _judge_readings(chip, name, readings, chosen, notes, odds)
    prior = compute_prior(chip, board.cloud, odds, notes, chassis)
    by_model = _rank_faults(board, prior, known_symptoms, taken.evidence, odds)
    ranking = add_chip_doubt(by_model, prior * weigh_findings(board.cloud, taken.evidence))
    steps = tuple(_choose_steps(board, by_model, ranking, taken.evidence, known_symptoms))
    suspects = list_suspects(board, ranking, taken.evidence)
    doubtful = choose_repeats(board, by_model, taken.evidence, prior, known_symptoms, odds, steps)
    again = _add_mix_ups(doubtful, taken.mix_ups)
    across = _choose_part_to_cross(board, ranking, taken.evidence, steps)
    advice = conclude(chip, suspects, steps, taken.evidence.proved, again, across)
    return Job(
        board=board,
        symptoms=known_symptoms,
        told=tuple(symptoms),
        readings=taken.readings,
        evidence=taken.evidence,
        found=ranking,
        verdicts=taken.verdicts,
        suspects=suspects,
        steps=steps,
        again=again,
        contradictions=taken.list_mix_ups() + list_contradictions(board, ranking, taken.evidence),
        cleared=_list_cleared(ranking, prior, taken.evidence),
        conclusion=advice + conclude_cure(chip, taken.list_verdicts_after_cure()),
        across=across,
        after=taken.after,
    )


class _Judged(NamedTuple):
    """The readings of a job, their verdicts, and the evidence that they are."""

    readings: tuple[Taken, ...]
    verdicts: tuple[PinVerdict | None, ...]
    after: frozenset[int]
    """Places in the list of the readings taken after the cure."""
    mix_ups: tuple[MixUp, ...]
    evidence: Evidence

    def list_mix_ups(self) -> tuple[str, ...]:
        """Return a sentence for each pair of readings that look mixed up."""
        return tuple(mix_up.said for mix_up in self.mix_ups)

    def list_verdicts_after_cure(self) -> list[PinVerdict]:
        """Return the verdicts on readings taken after the cure."""
        return _select_judged(self.verdicts, self.after, is_after=True)


def _judge_readings(
    chip: Chip,
    condition: str,
    readings: Iterable[Taken],
    chosen: Instruments,
    notes: Sequence[Note],
    odds: Mapping[str, Any] | None,
) -> _Judged:
    """Return the readings judged; those after the cure are no evidence of the fault."""
    resolved = tuple(resolve(chip, reading) for reading in readings)
    verdicts = _judge(chip, resolved, chosen, condition, notes)
    after = find_readings_after_cure(chip, resolved)
    mix_ups = find_mix_ups(chip, _select_judged(verdicts, after, is_after=False))
    gathered = leave_out(gather_evidence(chip, condition, resolved, chosen), after)
    mix_up_chance = float((odds or load_usual_odds())["mixed up"])
    evidence = doubt_readings(gathered, mix_ups, mix_up_chance)
    return _Judged(resolved, verdicts, after, mix_ups, evidence)


def _rank_faults(
    board: KnownBoard,
    prior: Any,
    symptoms: tuple[Symptom, ...],
    evidence: Evidence,
    odds: Mapping[str, Any] | None,
) -> Posterior:
    """Return the faults weighed by symptoms and evidence, resistances with the set off included."""
    ohms = weigh_resistances(board, evidence.resistances)
    return compute_posterior(
        board.chip, board.cloud, board.spreads, prior, symptoms, evidence, odds, ohms
    )


def _select_judged(
    verdicts: Sequence[PinVerdict | None], after: Set[int], *, is_after: bool
) -> list[PinVerdict]:
    """Return the verdicts on readings before the cure, or after it."""
    return [
        verdict
        for number, verdict in enumerate(verdicts)
        if verdict is not None and (number in after) == is_after
    ]


def _choose_steps(
    board: KnownBoard,
    posterior: Posterior,
    doubted: Posterior,
    evidence: Evidence,
    symptoms: tuple[Symptom, ...],
) -> list[Step]:
    """Return the possible next steps, best first.

    A part proved bad is replaced first, and without a symptom the measurements come to an end.
    ``doubted``: the chances if the model of the chip may be wrong as a whole.
    """
    lines_read = {observation.line for observation in evidence.observations}
    readings_taken = len(lines_read) + len(evidence.parts)
    steps = next_steps(
        board.cloud,
        board.spreads,
        focus_on_complaint(board.chip, posterior, board.spreads, symptoms, readings_taken),
        Efforts(board.chip),
        _list_done(board, evidence),
        {name for kind, name in evidence.proved if kind == "part"},
        doubted,
        {result.ref for result in evidence.parts if result.is_good},
    )
    steps = order_by_complaint(board, steps, symptoms, readings_taken)
    steps = _read_supplies_first(board, posterior, evidence, steps)
    # A part that was proved bad is replaced, and the set tried, before other faults are sought.
    repairs = [s for s in steps if s.kind == "repair" and s.thing in evidence.proved]
    if repairs and posterior.share_of(repairs[0].thing) >= _PROVED:
        return [repairs[0], *(step for step in steps if step is not repairs[0])]
    # A set that nobody complained of, and of which nothing stands out, is probably good.
    figures_read = len(evidence.observations) + len(evidence.parts)
    _, leading_chance = posterior.ranked[0]
    if symptoms or leading_chance >= _STANDS_OUT:
        return steps
    if figures_read >= _ENOUGH:
        return sorted(steps, key=lambda step: step.thing != NONE)
    # Where no complaint leads, a technician begins at the supplies.
    supplies = [f"pin {pin.number}" for pin in board.chip.pins if pin.role == "supply"]
    return _put_first(board, evidence, steps, supplies)


def _read_supplies_first(
    board: KnownBoard, posterior: Posterior, evidence: Evidence, steps: list[Step]
) -> list[Step]:
    """Return the steps with the supply and the reference of a suspected stage or joint first.

    Nobody exchanges a chip, or solders a joint, before they have been read. Common practice.
    """
    first = next(iter(steps), None)
    if first is None or first.kind != "repair" or first.thing is None:
        return steps
    if first.thing[0] not in ("chip", "joint"):
        return steps
    way, _ = posterior.list_ways(first.thing)[0]
    return _put_first(board, evidence, steps, _list_feeding_pins(board, way))


def _put_first(
    board: KnownBoard, evidence: Evidence, steps: list[Step], pins: Iterable[str]
) -> list[Step]:
    """Return the steps with the DC voltages of some pins first that were not read yet."""
    done = _list_done(board, evidence)
    efforts = Efforts(board.chip)
    readings = [
        Step("measure", pin, "dc", None, efforts.estimate_measuring(pin, "dc"), 0.0)
        for pin in pins
        if (pin, "dc") not in done and pin in board.cloud.column and efforts.may_measure(pin)
    ]
    points = {(step.at, step.quantity) for step in readings}
    return [*readings, *(step for step in steps if (step.at, step.quantity) not in points)]


def _list_feeding_pins(board: KnownBoard, way: Hypothesis) -> list[str]:
    """Return the supply and reference pins that the stages of a suspect name; without any, the
    first supply."""
    roles = {f"pin {pin.number}": pin.role for pin in board.chip.pins}
    pins: list[str] = []
    for block in board.chip.blocks:
        ends = (*block.needs, *block.inputs)
        if way.what == block.id or f"pin {way.what}" in (*ends, *block.outputs):
            pins += [end for end in ends if roles.get(end) in _FEEDING]
    first_supply = f"pin {board.chip.supplies[0].pins[0]}"
    return [pin for pin in dict.fromkeys(pins or [first_supply]) if pin != f"pin {way.what}"]


def _choose_part_to_cross(
    board: KnownBoard, posterior: Posterior, evidence: Evidence, steps: Sequence[Step]
) -> Step | None:
    """Return the resistance across a part to read before a lead is lifted.

    None if no part is to be lifted now, or no such reading saves time.
    """
    first = next(iter(steps), None)
    if first is None or first.kind != "prove" or first.is_bridge or evidence.proved:
        return None
    # A resistance that was read between the part's own ends needs no second reading.
    read_ends = [{one.first, one.second} for one in evidence.resistances]
    crossed = {
        (part.ref, RESISTANCE)
        for part in board.chip.application.parts
        if {*part.joins} in read_ends
    }
    done = crossed | _list_done(board, evidence)
    barred = list_junction_parts(board.chip)
    return choose_part_to_cross(board, posterior, Efforts(board.chip), done, barred)


def _list_done(board: KnownBoard, evidence: Evidence) -> set[tuple[str, str]]:
    """Return (place, quantity) of all that need not, or cannot, be measured any more."""
    done = {(observation.point, observation.quantity) for observation in evidence.observations}
    done |= {(result.ref, "out of circuit") for result in evidence.parts}
    for observation in evidence.observations:
        if observation.quantity != "vpp":
            continue
        # The trace of a signal shows its ripple as well.
        done.add((observation.point, "ripple"))
        column = board.cloud.column.get(observation.point)
        floor_v = 0.0 if column is None else float(board.spreads.floor_v[column])
        is_low = observation.value is not None and observation.value <= floor_v
        # Where there is no signal, there is nothing to count; a count shows that there is one.
        if is_low or observation.verdict == "missing":
            done.add((observation.point, "frequency"))
    for skipped in evidence.skipped:
        is_all = skipped.quantity == "everything"
        quantities = (*_QUANTITIES, "out of circuit") if is_all else (skipped.quantity,)
        done |= {(skipped.at, quantity) for quantity in quantities}
    return done


def _list_cleared(posterior: Posterior, prior: Any, evidence: Evidence) -> tuple[str, ...]:
    """Return the references of parts, and ids of stages, that are no longer thought of."""
    chances: dict[str, float] = {}
    chances_before: dict[str, float] = {}
    for row, hypothesis in enumerate(posterior.cloud.hypotheses):
        if hypothesis.kind in ("part", "stage"):
            name = hypothesis.what
            chances[name] = chances.get(name, 0.0) + float(posterior.chances[row])
            chances_before[name] = chances_before.get(name, 0.0) + float(prior[row])
    good = [result.ref for result in evidence.parts if result.is_good]
    # A rare fault is unlikely from the start: its chance must have fallen as well.
    unlikely = [
        name
        for name, chance in chances.items()
        if chance < min(_FALLEN_TO * chances_before[name], _HARDLY)
    ]
    return tuple(dict.fromkeys([*good, *unlikely]))


def _add_mix_ups(
    doubtful: tuple[tuple[str, str], ...], mix_ups: Iterable[MixUp]
) -> tuple[tuple[str, str], ...]:
    """Return the doubtful points, then those of probable mix-ups that are not among them."""
    return doubtful + tuple(p for mix_up in mix_ups for p in mix_up.points if p not in doubtful)


def _judge(
    chip: Chip,
    readings: Sequence[Taken],
    chosen: Instruments,
    condition: str,
    notes: Sequence[Note],
) -> tuple[PinVerdict | None, ...]:
    """Return the verdict on each reading; None of a part, and where the catalogue says nothing."""
    return tuple(
        _judge_reading(chip, reading, chosen, condition, notes)
        if isinstance(reading, PointReading) and _is_place(chip, reading.place)
        else None
        for reading in readings
    )


def _judge_reading(
    chip: Chip,
    reading: PointReading,
    chosen: Instruments,
    condition: str,
    notes: Sequence[Note],
) -> PinVerdict | None:
    figures = keep_live_figures(reading)
    if not figures:
        return None
    place = find_test_point(chip, reading.place)
    try:
        return check_pin(chip, place, figures, chosen, reading.condition or condition, notes)
    except NoExpectation:
        return None  # a node without a catalogue value is weighed all the same


def _is_place(chip: Chip, name: str) -> bool:
    return all(part.ref.casefold() != name.casefold() for part in chip.application.parts) or (
        chip.pin(name) is not None
    )
