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
_FAR: Final = 1 / 3
_FIGURES: Final = ("dc", "vpp", "frequency", "resistance")
_LITTLE_V: Final = 0.2  # about zero volts a share of the reading says nothing
_LEAST: Final = 0.3
_CHASSIS_COUNTS: Final = 0.5
_EMPTY_WORDS: Final = frozenset(
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
class OnTheBench:
    """A set as far as it is known: what it does, what was read where, and its chassis."""

    symptom: str = ""
    chip: str = ""
    chassis: str = ""
    readings: Mapping[str, Readings] = field(default_factory=dict)
    """By the place they were taken at: ``pin 17``, or as a note's ``at``."""


@dataclass(frozen=True)
class Alike:
    """A note of a set like this; ``score`` is for the order, ``why`` for people."""

    note: Note
    score: float
    why: tuple[str, ...]


def readings_of(reading: Reading) -> Readings:
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


def alike(notes: Iterable[Note], bench: OnTheBench, limit: int = 5) -> tuple[Alike, ...]:
    """Notes of faults and their remedies that come nearest to the set on the bench, best first.

    Words count by how rare they are among the notes; readings by how near they come, of the same
    chip, place and quantity; the same chassis adds to it.
    """
    faults = [note for note in notes if note.kind == "fault and remedy" and not note.withdrawn]
    terms = telling_terms(bench.symptom)
    rarity = _rarity(terms, [_text(note) for note in faults])
    scored = [_compared(note, bench, terms, rarity) for note in faults]
    near = [found for found in scored if found.score >= _LEAST]
    near.sort(key=lambda found: (-found.score, -found.note.sets, found.note.id))
    return tuple(near[:limit])


def _compared(
    note: Note, bench: OnTheBench, terms: Sequence[Sequence[str]], rarity: Sequence[float]
) -> Alike:
    score, why = 0.0, []
    said = [index for index, term in enumerate(terms) if _says(_text(note), term)]
    if said:
        score += sum(rarity[index] for index in said) / sum(rarity)
        why.append(f"symptom: {', '.join(terms[index][0] for index in said)}")
    if bench.chip and part_key(note.chip) == part_key(bench.chip):
        near = _nearness(note, bench.readings.get(note.at))
        score += sum(near.values()) / len(near) if near else 0.0
        why += [f"{name} at {note.at}" for name, value in near.items() if value > 0]
    if score and note.chassis and note.chassis.casefold() == bench.chassis.casefold():
        score += _CHASSIS_COUNTS
        why.append(f"chassis {note.chassis}")
    return Alike(note, score, tuple(why))


def telling_terms(text: str) -> list[list[str]]:
    """The words that tell something, each with its other wordings."""
    telling = [word for word in words(text) if word.lower() not in _EMPTY_WORDS]
    return load_thesaurus().expand(" ".join(telling))


def _text(note: Note) -> list[str]:
    texts = (note.symptom, note.failure, note.part, note.cure, note.text)
    return [word.casefold() for text in texts if text for word in words(text)]


def _says(text: Sequence[str], term: Sequence[str]) -> bool:
    """Some wording of the term, each of its words beginning a word of the text."""
    return any(
        all(any(word.startswith(wanted.casefold()) for word in text) for wanted in words(wording))
        for wording in term
    )


def _rarity(terms: Sequence[Sequence[str]], texts: Sequence[Sequence[str]]) -> list[float]:
    """Weight of each term by how few notes say it (inverse document frequency, smoothed).

    What every note says weighs next to nothing.
    """
    counts = [sum(_says(text, term) for text in texts) for term in terms]
    return [math.log((1 + len(texts)) / (1 + count)) + 0.1 for count in counts]


def _nearness(note: Note, readings: Readings | None) -> dict[str, float]:
    """For each figure that both have, 1 when they are the same down to 0 when far apart."""
    if readings is None or note.readings is None:
        return {}
    pairs = {name: (getattr(readings, name), getattr(note.readings, name)) for name in _FIGURES}
    near = {name: _near(*pair) for name, pair in pairs.items() if None not in pair}
    both = set(readings.seen) & set(note.readings.seen)
    return near | dict.fromkeys(sorted(both), 1.0)


def _near(one: Quantity, other: Quantity) -> float:
    size = max(abs(one.nominal), abs(other.nominal), _LITTLE_V if one.unit[0] == "V" else 0.0)
    apart = abs(one.nominal - other.nominal) / size if size else 0.0
    return max(0.0, 1 - apart / _FAR)
