"""A fault-finding job: symptoms and readings in, suspects and the next probe out."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from ...schema import Chip
from ...schema.chips.usual_faults import describe_endpoint
from ...schema.instruments import Instruments
from ...schema.note import Note
from ..cards.cautions import list_cautions_at
from ..readings.checks import PinReading, check_pin, find_test_point
from ..readings.verdict import CANNOT_TELL, PinVerdict
from .conclusion import conclusion, contradictions, to_take_again
from .dictionary_bytes import unpacked
from .failures import FaultDictionary
from .hypotheses import Hypothesis, hypotheses, seen_before, usual_odds
from .mixed_up import doubted, mixed_up
from .next_probe import Outcome, Proposal, proposals
from .other_tests import OtherReading, Taken, live, read_otherwise, with_other_tests
from .outcomes import Predictions, predictions
from .points import OUTCOMES, Point
from .remedy import Remedy, remedy_for
from .said import measured, said
from .should_read import should_read
from .suspects import Observation, Posterior, posterior
from .symptoms import observed_by, symptom_named
from .worked_out import WorkedOut, work_out, working_condition
from .would_read import would_read

_SHOWN = 6
_LEAST = 0.005  # nobody goes after less than half a percent


@dataclass(frozen=True)
class Suspect:
    """One hypothesis with what is known for and against it."""

    hypothesis: Hypothesis
    probability: float
    because: tuple[str, ...]
    remedy: Remedy
    said: str
    """The suspect in words."""
    would_read: tuple[str, ...]
    """What the circuit says the chip then reads, where that is far from what it should."""

    def document(self) -> dict[str, Any]:
        """As the job's document holds it."""
        found = self.hypothesis
        return {
            "what": found.what,
            "said": self.said,
            "kind": found.sort,
            "failure": found.failure,
            "probability": self.probability,
            "because": list(self.because),
            "prove": self.remedy.prove,
            "remedy": self.remedy.fit,
            "check": list(self.remedy.check),
            "would_read": list(self.would_read),
        }


@dataclass(frozen=True, eq=False)
class Job:
    """Where the hunt stands."""

    chip: Chip
    condition: str
    symptoms: tuple[str, ...]
    taken: tuple[PinReading, ...]
    """The readings of pins and nodes, the set on."""
    judged: tuple[PinVerdict, ...]
    """Each of them judged."""
    others: tuple[OtherReading, ...]
    """The other readings: ripple, resistance with the set off, parts out of circuit."""
    suspects: tuple[Suspect, ...]
    next: tuple[Proposal, ...]
    contradictions: tuple[str, ...]
    conclusion: str
    """What to do now, in a sentence."""

    def document(self) -> dict[str, Any]:
        """The job as plain data: what the command prints with ``--json`` and the page serves."""
        return {
            "part": self.chip.part,
            "condition": self.condition,
            "symptoms": list(self.symptoms),
            "readings": [judged.document() for judged in self.judged]
            + [other.document() for other in self.others],
            "suspects": [suspect.document() for suspect in self.suspects],
            "next": [self._proposed(proposal) for proposal in self.next],
            "contradictions": list(self.contradictions),
            "conclusion": self.conclusion,
        }

    def _proposed(self, proposal: Proposal) -> dict[str, Any]:
        at = proposal.point.at
        return {
            "at": at,
            "name": describe_endpoint(self.chip, at),
            "quantity": proposal.point.quantity,
            "said": measured(self.chip, proposal.point),
            "should_read": self.should_read(proposal.point),
            "expected_information_bits": proposal.bits,
            "effort": proposal.effort,
            "outcomes": [self._outcome(outcome) for outcome in proposal.outcomes],
            "cautions": list(self.cautions(proposal)),
        }

    def _outcome(self, outcome: Outcome) -> dict[str, Any]:
        then = [
            {
                "what": hypothesis.what,
                "kind": hypothesis.sort,
                "failure": hypothesis.failure,
                "said": said(self.chip, hypothesis),
                "probability": share,
            }
            for hypothesis, share in outcome.then
        ]
        return {"outcome": outcome.name, "chance": outcome.chance, "then": then}

    def should_read(self, point: Point) -> str:
        """What a point should come to, in words."""
        return should_read(self.chip, point, self.condition)

    def cautions(self, proposal: Proposal) -> tuple[str, ...]:
        """The cautions for one measurement; with the set off, that it be off indeed."""
        told = list_cautions_at(self.chip, proposal.point.at)
        if proposal.point.is_passive:
            return (_SET_OFF, *told)
        return told


_SET_OFF = (
    "Set off, plug out, capacitors discharged and measured: an ohmmeter on a live or charged"
    " circuit is lost, and so may you be."
)


def find_fault(
    chip: Chip,
    symptoms: Sequence[str],
    readings: Sequence[Taken],
    chosen: Instruments,
    condition: str | None = None,
    notes: Iterable[Note] = (),
    odds: dict[str, Any] | None = None,
    stored: bytes | None = None,
) -> Job:
    """Weigh what may be wrong by the symptoms and the readings.

    ``notes`` are those on the chip: what has failed before is likelier to have failed again.
    ``odds`` are the shop's own, ``stored`` what the folio keeps of the chip in its working
    condition.

    Raises UnknownSymptom, UnknownPin, UnknownCondition, BadReading and NothingKnown.
    """
    name = condition or working_condition(chip)
    document = chip.model_dump_json(exclude_defaults=True)
    known, predicted = _worked_out(document, name, json.dumps(odds), stored)
    predicted = _with(predicted, seen_before(predicted.hypotheses, notes, odds))
    others = tuple(o for taken in readings for o in read_otherwise(chip, known.off, taken, chosen))
    powered = tuple(live(readings, chip))
    judged = tuple(
        check_pin(chip, find_test_point(chip, r.pin), r.reading, chosen, r.condition or name)
        for r in powered
    )
    mix_ups = mixed_up(chip, judged)
    chance = float((odds or usual_odds())["mixed up"])
    read = doubted(_read(judged, others, predicted), mix_ups, chance)
    found = posterior(predicted, _told(chip, symptoms, read, predicted), odds)
    is_off = bool(readings) and not live(readings[-1:], chip)
    offered = proposals(chip, found, tried=_tried(judged, others), is_off=is_off)
    suspects = _suspects(chip, found, known.dictionary)
    ranked = [(suspect.hypothesis, suspect.probability) for suspect in suspects]
    return Job(
        chip=chip,
        condition=name,
        symptoms=tuple(symptoms),
        taken=powered,
        judged=judged,
        others=others,
        suspects=suspects,
        next=tuple(offered),
        contradictions=(*(m.said for m in mix_ups), *contradictions(chip, found, read)),
        conclusion=conclusion(chip, ranked, offered, to_take_again(found, read, mix_ups)),
    )


def worked_out_of(
    chip: Chip, condition: str | None = None, stored: bytes | None = None
) -> WorkedOut:
    """What the chip reads with every failure, in a condition or its working one; kept."""
    document = chip.model_dump_json(exclude_defaults=True)
    name = condition or working_condition(chip)
    return _worked_out(document, name, json.dumps(None), stored)[0]


def _told(
    chip: Chip, symptoms: Sequence[str], read: Sequence[Observation], predicted: Predictions
) -> list[Observation]:
    """What the symptoms say of points that were not measured, then what was read."""
    points = {observation.point for observation in read}
    observed = [
        observation
        for symptom in symptoms
        for observation in observed_by(chip, symptom_named(chip, symptom), predicted)
    ]
    return [o for o in dict.fromkeys(observed) if o.point not in points] + list(read)


def _suspects(chip: Chip, found: Posterior, dictionary: FaultDictionary) -> tuple[Suspect, ...]:
    """The likeliest, the ways one thing can fail taken together when they differ in degree only."""
    together: dict[tuple[str, str, str], list[tuple[Hypothesis, float]]] = {}
    for hypothesis, share in found.ranked(len(found.predictions.hypotheses)):
        key = (hypothesis.sort, hypothesis.what, hypothesis.failure.split(",")[0])
        together.setdefault(key, []).append((hypothesis, share))
    ranked = sorted(together.values(), key=lambda ways: -sum(share for _, share in ways))
    return tuple(
        Suspect(
            ways[0][0],
            sum(share for _, share in ways),
            tuple(found.because(ways[0][0])),
            remedy_for(chip, ways[0][0]),
            said(chip, ways[0][0]),
            would_read(chip, ways[0][0], dictionary),
        )
        for ways in ranked[:_SHOWN]
        if sum(share for _, share in ways) >= _LEAST
    )


@lru_cache(maxsize=16)
def _worked_out(
    document: str, condition: str, odds: str, stored: bytes | None
) -> tuple[WorkedOut, Predictions]:
    """What a chip reads with every failure, kept: it costs a second and depends on nothing else.

    What the folio has ``stored`` serves where it is for the condition.
    """
    chip = Chip.model_validate_json(document)
    known = unpacked(stored) if stored is not None else None
    if known is None or known.dictionary.condition != condition:
        known = work_out(chip, condition)
    among = hypotheses(chip, known.dictionary, json.loads(odds))
    predicted = predictions(chip, known.dictionary, among)
    return known, with_other_tests(chip, known.off, predicted, condition)


@lru_cache(maxsize=16)
def _with(predicted: Predictions, among: tuple[Hypothesis, ...]) -> Predictions:
    """With these odds; kept as well, since more is worked out of them before any reading."""
    return replace(predicted, hypotheses=among)


def _at(judged: PinVerdict) -> str:
    return f"pin {judged.pin.number}" if judged.pin.number else judged.pin.symbol


def _tried(judged: Sequence[PinVerdict], others: Sequence[OtherReading]) -> set[Point]:
    """Every figure taken, those among them that could not be told as well."""
    figures = {
        Point(_at(one), result.expected.quantity) for one in judged for result in one.results
    }
    return figures | {one.point for one in others}


def _read(
    judged: Sequence[PinVerdict], others: Sequence[OtherReading], among: Predictions
) -> list[Observation]:
    """What was read, of the points that are known; a point may have been read twice."""
    read = [observation for one in judged for observation in _observed(one)]
    read += [one.observation for one in others if one.observation is not None]
    known = set(among.points)
    return [observation for observation in read if observation.point in known]


def _observed(judged: PinVerdict) -> list[Observation]:
    """A judged pin as observations; a figure that cannot be told says nothing."""
    at = _at(judged)
    found = [
        Observation(Point(at, result.expected.quantity), result.verdict)
        for result in judged.results
        if result.verdict != CANNOT_TELL and result.verdict in OUTCOMES
    ]
    if not found and judged.verdict in OUTCOMES:
        found = [Observation(Point(at, "vpp"), judged.verdict)]
    return found
