"""Symptoms by name, synonym and either spelling, from ``symptoms.yaml`` and the chip file."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import yaml

from ....schema import Chip
from ....schema.chips.symptom import Sign
from ....schema.errors import Unknown


@dataclass(frozen=True)
class Symptom:
    """One symptom: its features of picture and sound, bad and good."""

    name: str
    means: str
    shows: tuple[Mapping[str, str], ...] = ()
    """Any one of these: feature -> ``gone``, ``weak``, ``bad`` or ``much``."""
    good: tuple[str, ...] = ()
    """Features that are right."""
    also: tuple[str, ...] = ()
    signs: tuple[Sign, ...] = ()
    """What the chip file itself says that points then show."""


class UnknownSymptom(Unknown):
    """No such symptom; the message names those there are."""


@cache
def load_usual_symptoms() -> tuple[Symptom, ...]:
    """Return the symptoms that come with the package."""
    text = files(__package__).joinpath("symptoms.yaml").read_text(encoding="utf-8")
    data: dict[str, Any] = yaml.safe_load(text)
    groups: dict[str, list[str]] = data["groups"]
    symptoms = []
    for name, entry in data["symptoms"].items():
        ways = entry["shows"]  # one way to look, or a list of several
        good = [f for group in entry.get("good", ()) for f in groups.get(group, [group])]
        symptoms.append(
            Symptom(
                name=name,
                means=entry["means"],
                shows=tuple(ways) if isinstance(ways, list) else (ways,),
                good=tuple(dict.fromkeys(good)),
                also=tuple(entry.get("also", ())),
            )
        )
    return tuple(symptoms)


def list_known_symptoms(chip: Chip) -> tuple[Symptom, ...]:
    """Return the chip file's own symptoms, then all others; an own one keeps a usual meaning."""
    usual_symptoms = {_fold(symptom.name): symptom for symptom in load_usual_symptoms()}
    own_symptoms = []
    for symptom in chip.symptoms:
        usual = usual_symptoms.get(_fold(symptom.name))
        own_symptoms.append(
            Symptom(
                symptom.name,
                symptom.means or (usual.means if usual else ""),
                usual.shows if usual else (),
                usual.good if usual else (),
                usual.also if usual else (),
                tuple(symptom.observed),
            )
        )
    # A chip's own symptom replaces the usual one of that name.
    own_names = {_fold(symptom.name) for symptom in own_symptoms}
    others = [usual for name, usual in usual_symptoms.items() if name not in own_names]
    return (*own_symptoms, *others)


def find_symptom(chip: Chip, name: str) -> Symptom:
    """Return the symptom called so, by its name, a synonym, or either spelling.

    Raises UnknownSymptom with the nearest and the list.
    """
    known = list_known_symptoms(chip)
    wanted = _fold(name)
    for symptom in known:
        if _fold(symptom.name) == wanted:
            return symptom
    by_other = {_fold(other): symptom for symptom in known for other in symptom.also}
    if wanted in by_other:
        return by_other[wanted]
    raise UnknownSymptom(_refuse_name(chip, name, wanted, known, by_other))


def _refuse_name(
    chip: Chip,
    name: str,
    folded_name: str,
    known: Sequence[Symptom],
    by_other: Mapping[str, Symptom],
) -> str:
    """Return the message for an unknown symptom: the nearest ones, and all there are."""
    from rapidfuzz import process

    symptoms = {_fold(symptom.name): symptom for symptom in known} | dict(by_other)
    # Synonyms are searched as well, and the symptom's own name is told.
    near = process.extract(folded_name, list(symptoms), limit=3)
    nearest = ", ".join(dict.fromkeys(symptoms[word].name for word, _, _ in near))
    listed = ", ".join(symptom.name for symptom in known)
    return f"no symptom {name!r} for {chip.part}; nearest: {nearest}; there are: {listed}"


@cache
def _fold(name: str) -> str:
    """Return a name in one spelling: case, hyphens, commas, color and gray do not matter."""
    plain = re.sub(r"[-_/,]+", " ", name.casefold())
    plain = re.sub(r"colou?r", "colour", plain)
    plain = re.sub(r"\bgray\b", "grey", plain)
    plain = re.sub(r"\b(the|a|is|are)\b", " ", plain)
    return " ".join(plain.split())
