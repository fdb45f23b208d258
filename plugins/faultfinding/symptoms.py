"""What the set does, in the trade's words, as observations at the chip's outputs.

A symptom names words of a pin's function and what that pin then shows; only outputs count. Common
practice.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from ...schema import Chip, Pin
from ...schema.refusals import Unknown
from .outcomes import Predictions
from .points import Point
from .suspects import Observation


@dataclass(frozen=True)
class Symptom:
    """One symptom and what it says of the outputs that it names."""

    name: str
    about: str
    """Regular expression over symbol and function of an output."""
    quantity: str
    outcome: str
    fine: str = ""
    """Regular expression for outputs that the symptom says are as expected."""


_RGB = r"\b(red|green|blue)\b.*(output|drive)|\b[RGB] OUT\b"
_DIFFERENCE = r"[RB]-Y|colou?r.difference|chroma(nce)? output"
_LINE = r"line drive|horizontal drive|\bH (OUT|DRIVE)\b|line oscillator"
_FIELD = r"vertical drive|vertical output|field drive|\bV (OUT|DRIVE)\b|vertical deflection"
_SOUND = r"audio|sound.*output|loudspeaker|headphone|line output.*(left|right)"

SYMPTOMS: Final = (
    Symptom("no picture", _RGB, "vpp", "missing"),
    Symptom("dark picture", _RGB, "vpp", "too low"),
    Symptom("no colour", _DIFFERENCE, "vpp", "missing"),
    Symptom("wrong hue", _DIFFERENCE, "vpp", "distorted"),
    Symptom("no red", r"\bred\b.*(output|drive)|\bR OUT\b", "vpp", "missing", r"\b(G|B) OUT\b"),
    Symptom("no green", r"\bgreen\b.*(output|drive)|\bG OUT\b", "vpp", "missing", r"\b(R|B) OUT\b"),
    Symptom("no blue", r"\bblue\b.*(output|drive)|\bB OUT\b", "vpp", "missing", r"\b(R|G) OUT\b"),
    Symptom("picture tears", _LINE, "frequency", "off frequency"),
    Symptom("picture rolls", _FIELD, "frequency", "off frequency"),
    Symptom("no line drive", _LINE, "vpp", "missing"),
    Symptom("no vertical deflection", _FIELD, "vpp", "missing"),
    Symptom("little height", _FIELD, "vpp", "too low"),
    Symptom("no sound", _SOUND, "vpp", "missing"),
    Symptom("distorted sound", _SOUND, "vpp", "distorted"),
)


class UnknownSymptom(Unknown):
    """No such symptom for this chip; the message names those there are."""


def symptoms_of(chip: Chip) -> tuple[Symptom, ...]:
    """The symptoms that outputs of this chip can show."""
    return tuple(symptom for symptom in SYMPTOMS if _shown_by(chip, symptom.about))


def symptom_named(chip: Chip, name: str) -> Symptom:
    """The symptom of this name; raises UnknownSymptom."""
    known = symptoms_of(chip)
    for symptom in known:
        if symptom.name == name.strip().casefold():
            return symptom
    names = ", ".join(symptom.name for symptom in known) or "none"
    raise UnknownSymptom(f"no symptom {name!r} for {chip.part}; there are: {names}")


def observed_by(chip: Chip, symptom: Symptom, among: Predictions) -> list[Observation]:
    """The symptom as observations of the points that are known."""
    found = [
        Observation(Point(f"pin {pin.number}", symptom.quantity), symptom.outcome)
        for pin in _shown_by(chip, symptom.about)
    ]
    if symptom.fine:
        found += [
            Observation(Point(f"pin {pin.number}", symptom.quantity), "as expected")
            for pin in _shown_by(chip, symptom.fine)
        ]
    return [observation for observation in found if observation.point in among.points]


def _shown_by(chip: Chip, about: str) -> list[Pin]:
    return [
        pin
        for pin in chip.pins
        if pin.role in ("output", "oscillator")
        and re.search(about, f"{pin.symbol} {pin.function}", re.IGNORECASE)
    ]
