"""A note as a form: a text under each name that a flag, a prompt or a page's address uses.

What is not said is not in the form; an empty text takes back what was said before.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any, Final
from urllib.parse import parse_qsl, unquote, urlsplit

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from ...schema import Chip
from ...schema.chips.lookup import UnknownPin, find_condition, find_pin
from ...schema.errors import Unusable
from ...schema.note import NOTE_KINDS, Note, Readings
from ...schema.reading import BadReading, read_reading
from ..readings.reading_syntax import split_figures

Form = dict[str, str]

# Names of the figures here and in an address, and in a note.
READING_FIELDS: Final = {
    "dc": "dc", "vpp": "vpp", "freq": "frequency", "ohms": "resistance", "seen": "seen",
}  # fmt: skip
INSTRUMENTS: Final = ("meter", "probe", "scope")
_TEXT_FIELDS: Final = (
    *("kind", "author", "date", "confidence", "chip", "at", "chassis", "sets", "condition"),
    *(*INSTRUMENTS, "symptom", "part", "failure", "cure", "text"),
)
_MOST_FIELDS: Final = 40
_PAGE_EXAMPLE: Final = "a pin's page, such as http://127.0.0.1:8001/chip/TQZ5752/17?dc=3.1V"


class BadForm(Unusable):
    """A form that makes no note; the message says what is wrong and where."""


def fill_form(note: Note) -> Form:
    """A revision as a form."""
    said = {name: str(value) for name in _TEXT_FIELDS if (value := getattr(note, name)) is not None}
    after = {"after": _format_readings(note.readings_after)} if note.readings_after else {}
    return said | _fill_readings(note.readings) | after


def parse_fields(form: Mapping[str, str]) -> dict[str, Any]:
    """The form as the fields of a note; raises BadReading."""
    given = {name: text.strip() for name, text in form.items() if text.strip()}
    fields: dict[str, Any] = {name: given[name] for name in _TEXT_FIELDS if name in given}
    if "sets" in given:
        fields["sets"] = _parse_set_count(given["sets"])
    read = {"readings": given, "readings_after": split_figures(given.get("after", ""))[1]}
    return fields | {
        name: found for name, texts in read.items() if (found := _parse_readings(texts))
    }


def build_note(form: Mapping[str, str], **fields: Any) -> Note:
    """The revision that a form makes, with the fields that nobody types; raises BadForm."""
    if not form.get("kind"):
        raise BadForm(f"found no kind, expected one of {', '.join(NOTE_KINDS)}")
    try:
        return Note.model_validate(parse_fields(form) | fields)
    except ValidationError as refused:
        faults = refused.errors(include_url=False)
        raise BadForm("\n".join(_describe_error(fault) for fault in faults)) from None


def _describe_error(fault: ErrorDetails) -> str:
    place = ".".join(map(str, fault["loc"]))
    message = fault["msg"].removeprefix("Value error, ")
    return f"{place}: {message}" if place else message


def normalise_field(name: str, text: str, chip: Chip | None) -> str:
    """What was given under a name as a note spells it, by what the chip file knows.

    Raises BadForm, BadReading, and UnknownPin and UnknownCondition with the nearest right word.
    """
    if not text:
        return text
    if name == "at":
        return normalise_place(chip, text)
    if name == "condition" and chip is not None:
        return find_condition(chip, text)
    if name in READING_FIELDS:
        read_reading({name: text})
    if name == "after":
        _check_after(text)
    if name == "sets":
        _parse_set_count(text)
    if name == "date":
        _check_date(text)
    return _complete_kind(text) if name == "kind" else text


def normalise_place(chip: Chip | None, written: str) -> str:
    """A place as notes name it: ``pin 17``, a node's or block's id, a part's reference.

    A pin may be given by its number or symbol. Raises UnknownPin.
    """
    text = written.strip()
    number = text.removeprefix("pin ").strip()
    if chip is None:
        return f"pin {int(number)}" if number.isascii() and number.isdecimal() else text
    known = [
        *(node.id for node in chip.application.nodes),
        *(block.id for block in chip.blocks),
        *(part.ref for part in chip.application.parts),
    ]
    for name in known:
        if name.casefold() == text.casefold():
            return name
    try:
        return f"pin {find_pin(chip, number).number}"
    except UnknownPin as unknown:
        raise UnknownPin(f"{unknown}; nor a node, a block or a part of this name") from None


def parse_address(address: str) -> Form:
    """What the address of a pin's page says: chip, place, readings, condition, instruments.

    Raises BadForm for another address.
    """
    try:
        split = urlsplit(address.strip())
        asked = dict(parse_qsl(split.query, max_num_fields=_MOST_FIELDS))
    except ValueError:
        raise BadForm(f"found the address {address!r}, expected {_PAGE_EXAMPLE}") from None
    path = split.path.removesuffix("/check.json").removesuffix(".json")
    *_, chip_page, part, pin = ["", "", "", *path.split("/")]
    if chip_page != "chip" or not part or not pin or pin == "fault-finding":
        raise BadForm(f"found the address {address!r}, expected {_PAGE_EXAMPLE}")
    names = (*READING_FIELDS, "condition", *INSTRUMENTS)
    said = {name: asked[name] for name in names if name in asked}
    return {"chip": unquote(part), "at": unquote(pin), **said}


def _parse_readings(texts: Mapping[str, str]) -> dict[str, Any]:
    """Readings as a note has them, each figure as it was written; raises BadReading."""
    figures = {
        READING_FIELDS[name]: text
        for name in READING_FIELDS
        if name != "seen" and (text := texts.get(name))
    }
    seen = read_reading({"seen": texts.get("seen")}).seen
    return figures | ({"seen": seen} if seen else {})


def _fill_readings(readings: Readings | None) -> Form:
    if readings is None:
        return {}
    values = {name: getattr(readings, field) for name, field in READING_FIELDS.items()}
    values["seen"] = ", ".join(readings.seen) or None
    return {name: str(value) for name, value in values.items() if value is not None}


def _format_readings(readings: Readings) -> str:
    return " ".join(f"{name}={text}" for name, text in _fill_readings(readings).items())


def _complete_kind(text: str) -> str:
    """A kind of note, which may be cut short: ``fault``, ``known``."""
    begun = [kind for kind in NOTE_KINDS if kind.startswith(text.strip().casefold())]
    if len(begun) != 1:
        raise BadForm(f"kind: found {text!r}, expected one of {', '.join(NOTE_KINDS)}")
    return begun[0]


def _check_after(text: str) -> None:
    place, written = split_figures(text)
    if place or not read_reading(written):
        raise BadReading(f"after: found {text!r}, expected readings such as 'dc=3.1V vpp=1Vpp'")


def _check_date(text: str) -> None:
    try:
        date.fromisoformat(text)
    except ValueError:
        raise BadForm(f"date: found {text!r}, expected a day such as 2026-11-25") from None


def _parse_set_count(text: str) -> int:
    if not (text.isascii() and text.isdecimal() and 0 < len(text) < 7 and int(text)):
        raise BadForm(f"sets: found {text!r}, expected a whole number such as 3")
    return int(text)
