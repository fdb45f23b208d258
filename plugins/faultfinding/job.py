"""A fault-finding job: symptoms and readings in, suspects and the next probe out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from ...schema import Chip, print_value
from ...schema.instrument import Instruments
from ...schema.note import Note
from ..cards.cautions import cautions_at
from ..cards.usual_faults import in_words
from ..readings.checks import PinReading, check_pin, find_place
from ..readings.verdict import CANNOT_TELL, Judged
from .failures import FaultDictionary, fault_dictionary
from .hypotheses import Hypothesis, hypotheses, seen_before
from .next_probe import Proposal, proposals
from .outcomes import Predictions, predictions
from .points import OUTCOMES, Point
from .remedy import Remedy, remedy_for
from .suspects import Observation, Posterior, posterior
from .symptoms import observed_by, symptom_named

_SHOWN = 6
_LEAST = 0.005  # nobody goes after less than half a percent
_MOVED = 0.15  # of what a point should read: what is worth saying
_ALIKE = 0.02  # two suspects whose probabilities differ by less cannot be told apart


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
    judged: tuple[Judged, ...]
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
            "readings": [judged.document() for judged in self.judged],
            "suspects": [suspect.document() for suspect in self.suspects],
            "next": [self._proposed(proposal) for proposal in self.next],
            "contradictions": list(self.contradictions),
            "conclusion": self.conclusion,
        }

    def _proposed(self, proposal: Proposal) -> dict[str, Any]:
        at = proposal.point.at
        return {
            "at": at,
            "name": in_words(self.chip, at),
            "quantity": proposal.point.quantity,
            "expected_information_bits": proposal.bits,
            "effort": proposal.effort,
            "outcomes": [{"outcome": name, "chance": share} for name, share in proposal.outcomes],
            "cautions": list(cautions_at(self.chip, at)),
        }


def find_fault(
    chip: Chip,
    symptoms: Sequence[str],
    readings: Sequence[PinReading],
    chosen: Instruments,
    condition: str | None = None,
    notes: Iterable[Note] = (),
) -> Job:
    """Weigh what may be wrong by the symptoms and the readings.

    ``notes`` are those on the chip: what has failed before is likelier to have failed again.

    Raises UnknownSymptom, UnknownPin, UnknownCondition and NothingKnown.
    """
    name = condition or working_condition(chip)
    dictionary, predicted = _worked_out(chip.model_dump_json(exclude_defaults=True), name)
    predicted = replace(predicted, hypotheses=seen_before(predicted.hypotheses, notes))
    judged = tuple(
        check_pin(chip, find_place(chip, r.pin), r.reading, chosen, r.condition or name)
        for r in readings
    )
    observations = [
        observation
        for symptom in symptoms
        for observation in observed_by(chip, symptom_named(chip, symptom), predicted)
    ]
    read = [observation for one in judged for observation in _observed(one, predicted)]
    measured = {observation.point for observation in read}
    observations = [o for o in observations if o.point not in measured] + read
    found = posterior(predicted, observations)
    offered = proposals(chip, found, tried=_tried(judged))
    suspects = _suspects(chip, found, dictionary)
    return Job(
        chip=chip,
        condition=name,
        symptoms=tuple(symptoms),
        judged=judged,
        suspects=suspects,
        next=tuple(offered),
        contradictions=_contradictions(chip, found, read),
        conclusion=_conclusion(chip, suspects, offered) + _resting(chip, found, read),
    )


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
            _said(chip, ways[0][0]),
            _would_read(chip, ways[0][0], dictionary),
        )
        for ways in ranked[:_SHOWN]
        if sum(share for _, share in ways) >= _LEAST
    )


def _would_read(chip: Chip, suspect: Hypothesis, dictionary: FaultDictionary) -> tuple[str, ...]:
    """The points that a failed part moves most, in words."""
    effects = next(
        (
            effects
            for failure, effects in dictionary.failed.items()
            if suspect.sort == "part"
            and (failure.ref, failure.mode) == (suspect.what, suspect.failure)
        ),
        None,
    )
    if effects is None:
        return ()
    moved: list[tuple[float, str]] = []
    for at, effect in effects.items():
        healthy = dictionary.healthy[at]
        for now, right, unit in (
            (effect.dc_v, healthy.dc_v, "V"),
            (effect.vpp_v, healthy.vpp_v, "Vpp"),
        ):
            if now is None or right is None or abs(now - right) < _MOVED * max(abs(right), 0.2):
                continue
            told = f"{in_words(chip, at)} {print_value(now, unit)}, not {print_value(right, unit)}"
            moved.append((abs(now - right) / max(abs(right), 0.2), told))
    return tuple(told for _, told in sorted(moved, key=lambda one: -one[0])[:3])


def _said(chip: Chip, suspect: Hypothesis) -> str:
    """A suspect as a technician says it."""
    if suspect.sort == "stage":
        name = next(block.name for block in chip.blocks if block.id == suspect.what)
        return f"{name}, inside the chip, {suspect.failure}"
    if suspect.sort == "outside":
        return f"no signal from outside at {in_words(chip, suspect.what)}"
    if suspect.sort == "supply":
        return f"supply {suspect.what} {suspect.failure}"
    return str(suspect)


def working_condition(chip: Chip) -> str:
    """The condition in which most pins show a signal: what a fault is hunted in."""
    counts = {condition.name: 0 for condition in chip.conditions}
    for pin in chip.pins:
        for expectation in pin.expectations:
            if expectation.waveform is not None and expectation.waveform.period_s:
                counts[expectation.condition] += 1
    return max(counts, key=lambda name: counts[name])


@lru_cache(maxsize=16)
def _worked_out(document: str, condition: str) -> tuple[FaultDictionary, Predictions]:
    """What a chip reads with every failure, kept: it costs a second and depends on nothing else."""
    chip = Chip.model_validate_json(document)
    dictionary = fault_dictionary(chip, condition)
    return dictionary, predictions(chip, dictionary, hypotheses(chip, dictionary))


def _at(judged: Judged) -> str:
    return f"pin {judged.pin.number}" if judged.pin.number else judged.pin.symbol


def _tried(judged: Sequence[Judged]) -> set[Point]:
    """Every figure taken, those among them that could not be told as well."""
    return {Point(_at(one), result.expected.quantity) for one in judged for result in one.results}


def _observed(judged: Judged, among: Predictions) -> list[Observation]:
    """A judged pin as observations; a figure that cannot be told says nothing."""
    at = _at(judged)
    found = [
        Observation(Point(at, result.expected.quantity), result.verdict)
        for result in judged.results
        if result.verdict != CANNOT_TELL and result.verdict in OUTCOMES
    ]
    if not found and judged.verdict in OUTCOMES:
        found = [Observation(Point(at, "vpp"), judged.verdict)]
    return [observation for observation in found if observation.point in among.points]


def _contradictions(chip: Chip, found: Posterior, read: Sequence[Observation]) -> tuple[str, ...]:
    """Readings to take again; symptoms are not readings."""
    return tuple(
        f"{in_words(chip, o.point.at)}, {_QUANTITY[o.point.quantity]} {o.outcome}: nothing that is"
        " known here explains it with the rest; take this reading again."
        for o in found.contradictions
        if o in read
    )


def _conclusion(chip: Chip, suspects: Sequence[Suspect], offered: Sequence[Proposal]) -> str:
    first = suspects[0]
    if offered:
        point = offered[0].point
        return f"Next: {_QUANTITY[point.quantity]} at {in_words(chip, point.at)}."
    alike = [s for s in suspects if abs(s.probability - first.probability) <= _ALIKE]
    if len(alike) > 1:
        names = " and ".join(s.said for s in alike[:3])
        return f"Nothing more separates {names} from outside: replace them, the first one first."
    return f"Nothing more separates the suspects: go for {first.said}."


def _resting(chip: Chip, found: Posterior, read: Sequence[Observation]) -> str:
    """The reading to take again before anything is soldered."""
    reading = found.rests_on
    if reading is None or reading not in read:
        return ""
    at = in_words(chip, reading.point.at)
    return f" All rests on one reading, {_QUANTITY[reading.point.quantity]} at {at}: take it again."


_QUANTITY = {"dc": "DC voltage", "vpp": "signal, peak to peak", "frequency": "frequency"}
