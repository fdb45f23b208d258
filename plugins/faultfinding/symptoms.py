"""What the set does, in the trade's words, as observations at the chip's outputs.

A symptom says of outputs, found by what they and the stages that drive them are called, what they
then show. Common practice. A chip file may add symptoms of its own.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from ...schema import Chip, Pin
from ...schema.errors import Unknown
from .outcomes import Predictions
from .points import Point
from .suspects import Observation


@dataclass(frozen=True)
class Sign:
    """What all outputs of one sort show."""

    about: str
    """Regular expression over symbol, function and driving stages of an output."""
    quantity: str
    outcome: str


@dataclass(frozen=True)
class Symptom:
    """One symptom, and what it says of outputs.

    Of several ways to say it, that is taken whose signs all find an output on the chip.
    """

    name: str
    means: str
    ways: tuple[tuple[Sign, ...], ...] = ()
    stages: str = ""
    """Regular expression that the name of a stage must fit, on a chip that can show it."""
    own: tuple[Observation, ...] = ()
    """What the chip file itself says that it shows."""


_NOT_DIFFERENCE: Final = r"^(?!.*(difference|-Y)).*"
_RGB: Final = _NOT_DIFFERENCE + r"(\b(red|green|blue)\b.*(output|drive)|\b[RGB] OUT\b)"
_ONE: Final = {
    "red": _NOT_DIFFERENCE + r"(\bred\b.*(output|drive)|\bR OUT\b)",
    "green": _NOT_DIFFERENCE + r"(\bgreen\b.*(output|drive)|\bG OUT\b)",
    "blue": _NOT_DIFFERENCE + r"(\bblue\b.*(output|drive)|\bB OUT\b)",
}
_LUMINANCE: Final = r"luminance.*output|(?<!-)\bY OUT\b|composite video output|video output"
_DIFFERENCE: Final = r"[RB]-Y.*output|colou?r.difference.*output|[-(](R|B)-Y\)? OUT"
_CHROMA: Final = r"chroma(nce)?\b.*output|\bC OUT\b"
_LINE: Final = r"(?<!delay )line drive|horizontal drive|\bH (OUT|DRIVE)\b|line oscillator"
_LINE_DRIVE: Final = r"(?<!delay )line drive|horizontal drive|\bH (OUT|DRIVE)\b"
_FIELD: Final = r"vertical drive|vertical output|field drive|\bV DRIVE\b|vertical deflection"
_COLOUR_STAGES: Final = r"chroma|colou?r|demodulat|burst|subcarrier|delay"
_SYNC: Final = r"(composite )?sync(hronising)? output|\bSYNC OUT\b"
_SOUND: Final = r"audio|sound.*output|loudspeaker|headphone|line output.*(left|right)"


def _all(about: str, quantity: str, outcome: str) -> tuple[Sign, ...]:
    return (Sign(about, quantity, outcome),)


def _without(colour: str) -> tuple[Sign, ...]:
    """One colour is not there, the other two are."""
    others = (about for name, about in _ONE.items() if name != colour)
    right = tuple(Sign(about, "vpp", "as expected") for about in others)
    return (Sign(_ONE[colour], "vpp", "missing"), *right)


SYMPTOMS: Final = (
    Symptom("no picture", "The screen stays dark, or shows an empty raster.",
            (_all(_RGB, "vpp", "missing"), _all(_LUMINANCE, "vpp", "missing"))),
    Symptom("no picture with sound", "Dark screen or empty raster; the sound is good.",
            ((Sign(_RGB, "vpp", "missing"), Sign(_SOUND, "vpp", "as expected")),
             (Sign(_LUMINANCE, "vpp", "missing"), Sign(_SOUND, "vpp", "as expected")))),
    Symptom("no picture no sound", "Neither picture nor sound; the supplies may be there.",
            ((Sign(_RGB, "vpp", "missing"), Sign(_SOUND, "vpp", "missing")),
             (Sign(_LUMINANCE, "vpp", "missing"), Sign(_SOUND, "vpp", "missing")))),
    Symptom("dark picture", "A picture, but dim or flat whatever the controls do.",
            (_all(_RGB, "vpp", "too low"), _all(_LUMINANCE, "vpp", "too low"))),
    Symptom("no colour", "A good picture in black and white.",
            (_all(_DIFFERENCE, "vpp", "missing"), _all(_CHROMA, "vpp", "missing"),
             _all(_RGB, "vpp", "distorted")), _COLOUR_STAGES),
    Symptom("weak colour", "Colours are there and pale, with the control at its end.",
            (_all(_DIFFERENCE, "vpp", "too low"), _all(_CHROMA, "vpp", "too low"))),
    Symptom("wrong hue", "Colours are there and are the wrong ones, or run through the picture.",
            (_all(_DIFFERENCE, "vpp", "distorted"), _all(_CHROMA, "vpp", "distorted"),
             _all(_RGB, "vpp", "distorted")), _COLOUR_STAGES),
    *(Symptom(f"no {colour}", f"{colour.capitalize()} is not there, the other two colours are.",
              (_without(colour), _all(_ONE[colour], "vpp", "missing"))) for colour in _ONE),
    Symptom("hum bars", "Dark bars stand in the picture or roll through it.",
            (_all(_RGB, "vpp", "distorted"), _all(_LUMINANCE, "vpp", "distorted"))),
    Symptom("picture tears", "Slanting stripes: the line frequency is wrong.",
            (_all(_LINE, "frequency", "off frequency"),)),
    Symptom("picture rolls", "The picture runs up or down: the field is not locked.",
            (_all(_FIELD, "frequency", "off frequency"),)),
    Symptom("picture tears and rolls", "Neither line nor field is locked: no sync.",
            (_all(_SYNC, "vpp", "missing"),)),
    Symptom("no line drive", "The set is dead or ticks: no high voltage is made.",
            (_all(_LINE_DRIVE, "vpp", "missing"),)),
    Symptom("no vertical deflection", "One bright horizontal line: turn the brightness down.",
            (_all(_FIELD, "vpp", "missing"),)),
    Symptom("little height", "The picture does not fill the screen from top to bottom.",
            (_all(_FIELD, "vpp", "too low"),)),
    Symptom("no sound", "The picture is good, the loudspeaker silent.",
            (_all(_SOUND, "vpp", "missing"),)),
    Symptom("weak sound", "Sound is there and too faint.", (_all(_SOUND, "vpp", "too low"),)),
    Symptom("distorted sound", "Sound is there and rough, or hums.",
            (_all(_SOUND, "vpp", "distorted"),)),
)  # fmt: skip


class UnknownSymptom(Unknown):
    """No such symptom for this chip; the message names those there are."""


def symptoms_of(chip: Chip) -> tuple[Symptom, ...]:
    """The symptoms of the chip file, then those that outputs of this chip can show."""
    own = tuple(_own(chip))
    names = {symptom.name.casefold() for symptom in own}
    others = (symptom for symptom in SYMPTOMS if symptom.name not in names)
    return (*own, *(symptom for symptom in others if _way(chip, symptom)))


def _own(chip: Chip) -> Iterator[Symptom]:
    for symptom in chip.symptoms:
        signs = tuple(
            Observation(Point(sign.at, sign.quantity), sign.outcome) for sign in symptom.observed
        )
        yield Symptom(symptom.name, symptom.means or "", own=signs)


def symptom_named(chip: Chip, name: str) -> Symptom:
    """The symptom of this name; raises UnknownSymptom."""
    wanted = name.strip().casefold()
    for symptom in (*_own(chip), *SYMPTOMS):
        if symptom.name.casefold() == wanted and (symptom.own or _way(chip, symptom)):
            return symptom
    names = ", ".join(symptom.name for symptom in symptoms_of(chip)) or "none"
    raise UnknownSymptom(f"no symptom {name!r} for {chip.part}; there are: {names}")


def observed_by(chip: Chip, symptom: Symptom, among: Predictions) -> list[Observation]:
    """The symptom as observations of the points that are known; none was read, or mistakenly."""
    found = list(symptom.own) or [
        Observation(Point(f"pin {pin.number}", sign.quantity), sign.outcome)
        for sign in _way(chip, symptom)
        for pin in _shown_by(chip, sign.about)
    ]
    return [replace(o, mistaken=0.0) for o in found if o.point in among.points]


def _way(chip: Chip, symptom: Symptom) -> tuple[Sign, ...]:
    """The first way whose signs all find an output; empty where none does."""
    names = " ".join(block.name for block in chip.blocks)
    if symptom.stages and not re.search(symptom.stages, names, re.IGNORECASE):
        return ()
    ways = (way for way in symptom.ways if all(_shown_by(chip, sign.about) for sign in way))
    return next(ways, ())


def _shown_by(chip: Chip, about: str) -> list[Pin]:
    return [
        pin
        for pin in chip.pins
        if pin.role in ("output", "oscillator")
        and re.search(about, f"{pin.symbol} {pin.function} {_driven_by(chip, pin)}", re.IGNORECASE)
    ]


def _driven_by(chip: Chip, pin: Pin) -> str:
    """The stages that put out at the pin; a shared stage says nothing of which output it is."""
    end = f"pin {pin.number}"
    stages = [block.name for block in chip.blocks if block.outputs == (end,)]
    return "; ".join(stages)
