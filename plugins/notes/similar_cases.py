"""Sets like this: notes of faults whose symptom and readings come near those on the bench."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from ...loaders.words.full_text_query import words
from ...loaders.words.thesaurus import load as load_thesaurus
from ...schema.note import Note, Readings
from ...schema.quantities import Quantity
from ...schema.reading import Reading
from ...schema.text import part_key

# Common practice: readings within a tenth are the same fault, those a third apart another one.
_DIFFERENT_SHARE: Final = 1 / 3
_FIGURES: Final = ("dc", "vpp", "frequency", "resistance")
_SMALLEST_SIZE_V: Final = 0.2  # about zero volts a share of the reading says nothing
_LEAST_SCORE: Final = 0.3
_CHASSIS_SCORE: Final = 0.5
_STOP_WORDS: Final = frozenset(
    (
        "a",
        "an",
        "the",
        "of",
        "on",
        "in",
        "at",
        "to",
        "is",
        "it",
        "and",
        "or",
        "with",
        "has",
        "no",
        "when",
    )
)


@dataclass(frozen=True)
class BenchCase:
    """A set as far as it is known: what it does, what was read where, and its chassis."""

    symptom: str = ""
    chip: str = ""
    chassis: str = ""
    readings: Mapping[str, Readings] = field(default_factory=dict)
    """By the place they were taken at: ``pin 17``, or as a note's ``at``."""


@dataclass(frozen=True)
class SimilarCase:
    """A note of a set like this; ``score`` is for the order, ``why`` for people."""

    note: Note
    score: float
    why: tuple[str, ...]


def convert_reading(reading: Reading) -> Readings:
    """What was read at a pin, in the form that a note keeps it."""
    figures = {
        "dc": ("V", reading.dc_v),
        "vpp": ("Vpp", reading.vpp_v),
        "frequency": ("Hz", reading.frequency_hz),
        "resistance": ("Ω", reading.resistance_ohm),
    }
    kept = {
        name: Quantity(unit, value) for name, (unit, value) in figures.items() if value is not None
    }
    return Readings.model_validate({**kept, "seen": reading.seen})


def find_similar_cases(
    notes: Iterable[Note], bench: BenchCase, limit: int = 5
) -> tuple[SimilarCase, ...]:
    """Notes of faults and their remedies that come nearest to the set on the bench, best first.

    Words count by how rare they are among the notes; readings by how near they come, of the same
    chip, place and quantity; the same chassis adds to it.
    """
    faults = [note for note in notes if note.kind == "fault and remedy" and not note.withdrawn]
    terms = extract_terms(bench.symptom)
    rarity = _compute_rarity(terms, [_collect_words(note) for note in faults])
    scored = [_compare_note(note, bench, terms, rarity) for note in faults]
    near = [found for found in scored if found.score >= _LEAST_SCORE]
    near.sort(key=lambda found: (-found.score, -found.note.sets, found.note.id))
    return tuple(near[:limit])


def _compare_note(
    note: Note, bench: BenchCase, terms: Sequence[Sequence[str]], rarity: Sequence[float]
) -> SimilarCase:
    score, why = 0.0, []
    said = [index for index, term in enumerate(terms) if _contains_term(_collect_words(note), term)]
    if said:
        score += sum(rarity[index] for index in said) / sum(rarity)
        why.append(f"symptom: {', '.join(terms[index][0] for index in said)}")
    if bench.chip and part_key(note.chip) == part_key(bench.chip):
        near = _compare_figures(note, bench.readings.get(note.at))
        score += sum(near.values()) / len(near) if near else 0.0
        why += [f"{name} at {note.at}" for name, value in near.items() if value > 0]
    if score and note.chassis and note.chassis.casefold() == bench.chassis.casefold():
        score += _CHASSIS_SCORE
        why.append(f"chassis {note.chassis}")
    return SimilarCase(note, score, tuple(why))


def extract_terms(text: str) -> list[list[str]]:
    """The words that tell something, each with its other wordings."""
    telling = [word for word in words(text) if word.lower() not in _STOP_WORDS]
    return load_thesaurus().expand(" ".join(telling))


def _collect_words(note: Note) -> list[str]:
    texts = (note.symptom, note.failure, note.part, note.cure, note.text)
    return [word.casefold() for text in texts if text for word in words(text)]


def _contains_term(text: Sequence[str], term: Sequence[str]) -> bool:
    """Some wording of the term, each of its words beginning a word of the text."""
    return any(
        all(any(word.startswith(wanted.casefold()) for word in text) for wanted in words(wording))
        for wording in term
    )


def _compute_rarity(terms: Sequence[Sequence[str]], texts: Sequence[Sequence[str]]) -> list[float]:
    """Weight of each term by how few notes say it (inverse document frequency, smoothed).

    What every note says weighs next to nothing.
    """
    counts = [sum(_contains_term(text, term) for text in texts) for term in terms]
    return [math.log((1 + len(texts)) / (1 + count)) + 0.1 for count in counts]


def _compare_figures(note: Note, readings: Readings | None) -> dict[str, float]:
    """For each figure that both have, 1 when they are the same down to 0 when far apart."""
    if readings is None or note.readings is None:
        return {}
    pairs = {name: (getattr(readings, name), getattr(note.readings, name)) for name in _FIGURES}
    near = {name: _compute_nearness(*pair) for name, pair in pairs.items() if None not in pair}
    both = set(readings.seen) & set(note.readings.seen)
    return near | dict.fromkeys(sorted(both), 1.0)


def _compute_nearness(one: Quantity, other: Quantity) -> float:
    size = max(
        abs(one.nominal), abs(other.nominal), _SMALLEST_SIZE_V if one.unit[0] == "V" else 0.0
    )
    apart = abs(one.nominal - other.nominal) / size if size else 0.0
    return max(0.0, 1 - apart / _DIFFERENT_SHARE)
