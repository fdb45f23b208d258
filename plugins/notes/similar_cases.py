"""Find notes of faults whose symptom and readings resemble those of the set on the bench."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from ...loaders.words.full_text_query import split_words
from ...loaders.words.thesaurus import load_thesaurus
from ...schema.note import Note, Readings
from ...schema.quantities import Quantity
from ...schema.reading import Reading
from ...schema.text import part_key

# Common practice: readings a third apart are different faults.
_DIFFERENT_SHARE: Final = 1 / 3
_FIGURES: Final = ("dc", "vpp", "frequency", "resistance")
_SMALLEST_SIZE_V: Final = 0.2  # near zero volts a relative difference means nothing
_COMMON_TERM_WEIGHT: Final = 0.1  # of a term that every note contains
_MOST_CASES: Final = 5
_LEAST_SCORE: Final = 0.3
_CHASSIS_SCORE: Final = 0.5
_STOP_WORDS: Final = frozenset(
    (
        *("a", "an", "the", "of", "on", "in", "at", "to"),
        *("is", "it", "and", "or", "with", "has", "no", "when"),
    )
)


@dataclass(frozen=True)
class BenchCase:
    """A set as far as it is known: symptom, readings by place, and chassis."""

    symptom: str = ""
    chip: str = ""
    chassis: str = ""
    readings: Mapping[str, Readings | None] = field(default_factory=dict)
    """By the place they were taken at, named as a note's ``at``: ``pin 17``."""


@dataclass(frozen=True)
class SimilarCase:
    """A note on a similar set; ``score`` is for ranking, ``why`` for people."""

    note: Note
    score: float
    why: tuple[str, ...]


def convert_reading(reading: Reading) -> Readings | None:
    """Return a reading at a pin in the form that a note keeps it; None where it is but a word such
    as "ok"."""
    figures = {
        "dc": ("V", reading.dc_v),
        "vpp": ("Vpp", reading.vpp_v),
        "frequency": ("Hz", reading.frequency_hz),
        "resistance": ("Ω", reading.resistance_ohm),
    }
    quantities = {
        name: Quantity(unit, value) for name, (unit, value) in figures.items() if value is not None
    }
    if not quantities and not reading.seen:
        return None
    return Readings.model_validate({**quantities, "seen": reading.seen})


def find_similar_cases(
    notes: Iterable[Note], bench: BenchCase, limit: int = _MOST_CASES
) -> tuple[SimilarCase, ...]:
    """Return the fault-and-remedy notes most similar to the set on the bench, best first.

    Words weigh by their rarity among the notes; readings at the same chip, place and quantity by
    their closeness; the same chassis adds to the score.
    """
    repairs = [note for note in notes if note.kind == "fault and remedy" and not note.withdrawn]
    terms = extract_terms(bench.symptom)
    rarity = _compute_rarity(terms, [_collect_words(note) for note in repairs])
    cases = [_compare_note(note, bench, terms, rarity) for note in repairs]
    close_cases = [case for case in cases if case.score >= _LEAST_SCORE]
    close_cases.sort(key=lambda case: (-case.score, -case.note.sets, case.note.id))
    return tuple(close_cases[:limit])


def _compare_note(
    note: Note, bench: BenchCase, terms: Sequence[Sequence[str]], rarity: Sequence[float]
) -> SimilarCase:
    """Return a note with its score and the reasons for it."""
    score, reasons = 0.0, []
    note_words = _collect_words(note)
    shared = [
        (term[0], weight)
        for term, weight in zip(terms, rarity, strict=True)
        if _contains_term(note_words, term)
    ]
    if shared:
        score += sum(weight for _, weight in shared) / sum(rarity)
        reasons.append(f"symptom: {', '.join(word for word, _ in shared)}")
    if bench.chip and part_key(note.chip) == part_key(bench.chip):
        nearness_of = _compare_figures(note, bench.readings.get(note.at))
        score += sum(nearness_of.values()) / len(nearness_of) if nearness_of else 0.0
        reasons += [f"{name} at {note.at}" for name, value in nearness_of.items() if value > 0]
    # A chassis fails in many ways: alone it makes no case similar.
    if score and note.chassis and note.chassis.casefold() == bench.chassis.casefold():
        score += _CHASSIS_SCORE
        reasons.append(f"chassis {note.chassis}")
    return SimilarCase(note, score, tuple(reasons))


def extract_terms(text: str) -> list[list[str]]:
    """Return the words of a text without stop words, each with its synonyms."""
    content_words = [word for word in split_words(text) if word.lower() not in _STOP_WORDS]
    return load_thesaurus().expand(" ".join(content_words))


def _collect_words(note: Note) -> list[str]:
    """Return all words of a note's texts, in lower case."""
    texts = (note.symptom, note.failure, note.part, note.cure, note.text)
    return [word.casefold() for text in texts if text for word in split_words(text)]


def _contains_term(text: Sequence[str], term: Sequence[str]) -> bool:
    """Return whether all words of some wording of the term begin words of the text."""
    return any(
        all(
            any(word.startswith(prefix.casefold()) for word in text)
            for prefix in split_words(wording)
        )
        for wording in term
    )


def _compute_rarity(terms: Sequence[Sequence[str]], texts: Sequence[Sequence[str]]) -> list[float]:
    """Return the weight of each term by the number of notes that contain it.

    Source: inverse document frequency (K. Sparck Jones, Journal of Documentation 28, 1972),
    smoothed.
    """
    counts = [sum(_contains_term(text, term) for text in texts) for term in terms]
    return [math.log((1 + len(texts)) / (1 + count)) + _COMMON_TERM_WEIGHT for count in counts]


def _compare_figures(note: Note, readings: Readings | None) -> dict[str, float]:
    """Return the closeness of each figure that both have, from 1, equal, down to 0."""
    if readings is None or note.readings is None:
        return {}
    pairs = {name: (getattr(readings, name), getattr(note.readings, name)) for name in _FIGURES}
    nearness = {name: _compute_nearness(*pair) for name, pair in pairs.items() if None not in pair}
    common_words = set(readings.seen) & set(note.readings.seen)
    return nearness | dict.fromkeys(sorted(common_words), 1.0)


def _compute_nearness(one: Quantity, other: Quantity) -> float:
    """Return 1 for equal quantities, falling to 0 for a relative difference of a third."""
    size = max(
        abs(one.nominal), abs(other.nominal), _SMALLEST_SIZE_V if one.unit[0] == "V" else 0.0
    )
    difference = abs(one.nominal - other.nominal) / size if size else 0.0
    return max(0.0, 1 - difference / _DIFFERENT_SHARE)
