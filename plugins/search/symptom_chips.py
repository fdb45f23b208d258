"""The chips in a folio that can be the cause of a symptom, chosen by its picture.

Which kind of chip a signal passes through is common practice; the hunt on a chip then says whether
this one can do it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from ...loaders import Folio
from ...loaders.folio.chip_search import ChipRow

MOST_CHIPS: Final = 200

_COLOUR: Final = (
    "jungle",
    "chroma/luma processor",
    "recorder Y/C processor",
    "comb filter",
    "delay line",
)
_GUNS: Final = ("jungle", "chroma/luma processor", "RGB matrix", "RGB switch", "video amplifier")
_SYNC: Final = ("jungle", "sync/deflection processor")
_FIELD: Final = (*_SYNC, "vertical output")
_LINE: Final = (*_SYNC, "power supply controller")
_PICTURE: Final = (*_GUNS, "vision IF", "vision and sound IF", "recorder Y/C processor")
_SOUND: Final = ("sound IF", "vision and sound IF", "audio processor", "audio amplifier")


@dataclass(frozen=True)
class PicturedSymptom:
    """A symptom that is chosen by its picture."""

    name: str
    """One of the usual symptoms, or one that chip files state themselves."""
    words: str
    hint: str
    kinds: tuple[str, ...]
    """Kinds of chips that can be the cause."""
    also: tuple[str, ...] = ()
    """Symptoms with the same picture but for a colour."""
    otherwise: str = ""
    """The usual symptom for a chip whose file does not state this one."""


PICTURED: Final = (
    PicturedSymptom("no colour", "Black and white", "A good picture without colour.", _COLOUR),
    PicturedSymptom("weak colour", "Pale colour", "Colour is there, hardly.", _COLOUR),
    PicturedSymptom("wrong hue", "Wrong colours", "Or bands of colour run through.", _COLOUR),
    PicturedSymptom(
        "no red",
        "One colour missing",
        "Red, green or blue is not there.",
        _GUNS,
        also=("no green", "no blue"),
    ),
    PicturedSymptom(
        "picture tears", "Tears into slanting stripes", "The line frequency is wrong.", _SYNC
    ),
    PicturedSymptom("picture rolls", "Rolls up or down", "The field does not hold.", _SYNC),
    PicturedSymptom(
        "no vertical deflection", "One bright line", "Turn the brightness down at once.", _FIELD
    ),
    PicturedSymptom("little height", "Too little height", "Does not fill top to bottom.", _FIELD),
    PicturedSymptom("hum bars", "Hum bars", "Dark bars stand or creep.", _PICTURE),
    PicturedSymptom(
        "dark picture", "Dark or flat picture", "Dim whatever the controls do.", _PICTURE
    ),
    PicturedSymptom("no picture", "Empty screen, lit", "No picture; sound may be there.", _PICTURE),
    PicturedSymptom(
        "set clicks and stays dark",
        "Clicks, stays dark",
        "Starts for a moment, then stops.",
        _LINE,
        otherwise="no line drive",
    ),
    PicturedSymptom("no line drive", "Dead", "No high voltage is made.", _LINE),
    PicturedSymptom("no sound", "No sound", "Picture good, loudspeaker silent.", _SOUND),
)


@dataclass(frozen=True)
class SuspectChip:
    """A chip that can be the cause, and the symptom as its hunt takes it."""

    chip: ChipRow
    symptom: str


def find_pictured(name: str) -> PicturedSymptom | None:
    """Return the pictured symptom of a name; None for one that has no picture."""
    return next((one for one in PICTURED if name in (one.name, *one.also)), None)


def find_chips_for_symptom(folio: Folio, name: str) -> tuple[SuspectChip, ...]:
    """Return the chips of a folio that can show a symptom, by part number.

    A symptom without a picture, and an empty name, leave all chips in question.
    """
    pictured = find_pictured(name)
    rows = folio.parts(MOST_CHIPS, kinds=pictured.kinds if pictured else None)
    if pictured is None or not pictured.otherwise:
        return tuple(SuspectChip(row, name) for row in rows)
    return tuple(
        SuspectChip(row, name if _has_expectation(folio, row.part, name) else pictured.otherwise)
        for row in rows
    )


def _has_expectation(folio: Folio, part: str, name: str) -> bool:
    """Return whether a chip file states a symptom itself."""
    return any(symptom.name == name for symptom in folio.chip(part).symptoms)
