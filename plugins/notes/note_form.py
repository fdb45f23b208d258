"""A note as a form: one text under each name that a flag, a prompt or a page's address uses.

A field that was not given is absent; an empty text removes the value given before.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any, Final
from urllib.parse import parse_qsl, unquote, urlsplit

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from ...loaders.shop.shop_folder import Shop
from ...schema import Chip, QuantityError, parse_quantity
from ...schema.chips.lookup import UnknownPin, find_condition, find_pin
from ...schema.errors import Unusable
from ...schema.note import NEEDS, NOTE_KINDS, Note, Readings
from ...schema.reading import BadReading
from ..readings.pin_readings import FIELDS, convert_point
from ..readings.reading_syntax import read_keyed, split_fields
from ..readings.written_figures import UNITS, read_figure

Form = dict[str, str]

# Names of the figures in a form and in an address, with their fields in a note.
READING_FIELDS: Final = {
    "dc": "dc", "vpp": "vpp", "freq": "frequency", "ohms": "resistance", "seen": "seen",
}  # fmt: skip
INSTRUMENTS: Final = ("meter", "probe", "scope")
_BY_METER: Final = ("dc", "ohms")
_BY_SCOPE: Final = ("vpp", "freq", "seen")
_TEXT_FIELDS: Final = (
    *("kind", "author", "date", "confidence", "chip", "at"),
    *("chassis", "set_name", "sets", "condition"),
    *(*INSTRUMENTS, "symptom", "part", "failure", "proof", "cure", "text", "reason"),
)
_FIGURE_UNITS: Final = {"dc": "V", "vpp": "Vpp", "freq": "Hz", "ohms": "Ω"}
_MOST_FIELDS: Final = 40
_MOST_SET_DIGITS: Final = 6
_PAGE_EXAMPLE: Final = "it looks like http://127.0.0.1:8001/chip/TQZ5752/17?dc=3.1V"


class BadForm(Unusable):
    """The form makes no valid note; the message names the field and the error."""


def fill_form(note: Note) -> Form:
    """Return the form that makes this revision."""
    texts = {
        name: str(value) for name in _TEXT_FIELDS if (value := getattr(note, name)) is not None
    }
    after = {"after": _format_readings(note.readings_after)} if note.readings_after else {}
    return texts | _fill_readings(note.readings) | after


def parse_fields(form: Mapping[str, str]) -> dict[str, Any]:
    """Return the fields of a note from a form. Raises BadForm and BadReading."""
    filled = {name: text.strip() for name, text in form.items() if text.strip()}
    fields: dict[str, Any] = {name: filled[name] for name in _TEXT_FIELDS if name in filled}
    if "sets" in filled:
        fields["sets"] = _parse_set_count(filled["sets"])
    if readings := _parse_readings(filled):
        fields["readings"] = readings
    # Readings after a repair are one text: dc=3.1V vpp=1Vpp.
    _, fields_after = split_fields(filled.get("after", ""))
    if readings_after := _parse_readings(dict(fields_after)):
        fields["readings_after"] = readings_after
    return fields


def build_note(form: Mapping[str, str], **fields: Any) -> Note:
    """Return the revision that a form makes, with further fields that are not typed.

    Raises BadForm and BadReading.
    """
    if not form.get("kind"):
        raise BadForm(f"a note needs a kind; choose one of {', '.join(NOTE_KINDS)}")
    try:
        return Note.model_validate(parse_fields(form) | fields)
    except ValidationError as refused:
        errors = refused.errors(include_url=False)
        raise BadForm("\n".join(_describe_error(error) for error in errors)) from None


def is_complete(form: Form) -> bool:
    """Return whether a form has every field that its kind of note needs."""
    given = {name for name, text in form.items() if text}
    if given.intersection(READING_FIELDS):
        given.add("readings")
    return "kind" in given and given.issuperset(NEEDS[form["kind"]])


def list_fields_to_check(form: Form, changes: Form) -> set[str]:
    """Return the fields to check after changes; on another chip also place and condition."""
    bound_to_chip = {"at", "condition"} & form.keys() if "chip" in changes else set()
    return changes.keys() | bound_to_chip


def choose_usual_instruments(shop: Shop, form: Form, has_files: bool) -> Form:
    """Return the shop's usual instruments, limited to those that take such readings."""
    by_meter = any(form.get(name) for name in _BY_METER)
    by_scope = has_files or any(form.get(name) for name in _BY_SCOPE)
    is_used = {"meter": by_meter, "probe": by_scope, "scope": by_scope}
    return {name: usual for name in INSTRUMENTS if is_used[name] and (usual := getattr(shop, name))}


def sign_form(shop: Shop) -> Form:
    """Return the fields that sign a note: the author of this shop and today's date."""
    return {"author": shop.author or shop.handle, "date": date.today().isoformat()}


def _describe_error(error: ErrorDetails) -> str:
    """Return a validation error as ``field: message``."""
    place = ".".join(map(str, error["loc"]))
    message = error["msg"].removeprefix("Value error, ")
    return f"{place}: {message}" if place else message


def normalise_field(name: str, text: str, chip: Chip | None) -> str:
    """Return the text of a field as notes spell it, with names from the chip file.

    Raises BadForm, BadReading, and UnknownPin and UnknownCondition with the nearest names.
    """
    if not text:
        return text
    if name == "at":
        return normalise_place(chip, text)
    if name == "condition" and chip is not None:
        return find_condition(chip, text)
    if name in READING_FIELDS:
        read_keyed("", [(name, text)])
    if name == "after":
        _check_after(text)
    if name == "sets":
        _parse_set_count(text)
    if name == "date":
        _check_date(text)
    return _complete_kind(text) if name == "kind" else text


def spell_figure(name: str, text: str) -> str:
    """Return a figure with its unit, as notes keep it; any other text as it is.

    Raises BadReading for a range.
    """
    unit = _FIGURE_UNITS.get(name)
    if unit is None:
        return text
    try:
        parse_quantity(text, unit)
    except QuantityError:
        figure = read_figure(text, unit)
        if figure.is_range:
            raise BadReading(f"{text!r} is a range; write one figure as it was read") from None
        return re.sub(r"(?<=[0-9])(?=[^0-9.,\s])", " ", figure.text, count=1)
    return text


def normalise_place(chip: Chip | None, written: str) -> str:
    """Return a place as notes name it: ``pin 17``, the id of a node or block, a part's reference.

    A pin may be given by its number or symbol. Raises UnknownPin.
    """
    text = written.strip()
    number = text.removeprefix("pin ").strip()
    if chip is None:
        return f"pin {int(number)}" if number.isascii() and number.isdecimal() else text
    names = [
        *(node.id for node in chip.application.nodes),
        *(block.id for block in chip.blocks),
        *(part.ref for part in chip.application.parts),
    ]
    for name in names:
        if name.casefold() == text.casefold():
            return name
    try:
        return f"pin {find_pin(chip, number).number}"
    except UnknownPin as unknown:
        raise UnknownPin(f"{unknown}; no node, block or part has this name either") from None


def normalise_note(note: Note, chip: Chip | None) -> Note:
    """Return a note with its chip, place and condition as the chip file spells them.

    Raises UnknownPin and UnknownCondition with the nearest names.
    """
    spelt = {"at": normalise_place(chip, note.at)}
    if chip is not None:
        spelt["chip"] = chip.part
        if note.condition is not None:
            spelt["condition"] = find_condition(chip, note.condition)
    return Note.model_validate(note.model_dump(mode="json", exclude_defaults=True) | spelt)


def parse_address(address: str) -> Form:
    """Return the form in a pin page's address: chip, place, readings, condition, instruments.

    Raises BadForm for any other address.
    """
    try:
        split_address = urlsplit(address.strip())
        query = dict(parse_qsl(split_address.query, max_num_fields=_MOST_FIELDS))
    except ValueError:
        raise BadForm(f"{address!r} is not the address of a pin's page; {_PAGE_EXAMPLE}") from None
    # The page may be served below another path: only its end counts.
    path = split_address.path.removesuffix("/check.json").removesuffix(".json")
    *_, chip_page, part, pin = ["", "", "", *path.split("/")]
    if chip_page != "chip" or not part or not pin or pin == "fault-finding":
        raise BadForm(f"{address!r} is not the address of a pin's page; {_PAGE_EXAMPLE}")
    names = (*READING_FIELDS, "condition", *INSTRUMENTS)
    fields = {name: query[name] for name in names if name in query}
    return {"chip": unquote(part), "at": unquote(pin), **fields}


def _parse_readings(texts: Mapping[str, str]) -> dict[str, Any]:
    """Return the readings of a note, each figure with its unit. Raises BadReading."""
    # A note may keep limits, such as 5 V ± 5 %, which nobody reads.
    limits = {name: text for name in FIELDS if _has_limits(name, text := texts.get(name, ""))}
    read = [(name, texts.get(name, "")) for name in FIELDS if name not in limits]
    point = read_keyed("", read)
    figures = {READING_FIELDS[name]: text for name, text in limits.items()}
    figures |= {quantity: figure.text for quantity, figure in point.figures}
    seen = convert_point(replace(point, figures=())).seen
    return figures | ({"seen": seen} if seen else {})


def _has_limits(name: str, text: str) -> bool:
    """Whether a text is a quantity of the chip files with a tolerance or a range."""
    if name == "seen" or not text:
        return False
    try:
        quantity = parse_quantity(text, UNITS[READING_FIELDS[name]])
    except QuantityError:
        return False
    return quantity.low is not None or quantity.high is not None


def _fill_readings(readings: Readings | None) -> Form:
    """Return the texts of a note's readings, by the names a form uses."""
    if readings is None:
        return {}
    values = {name: getattr(readings, field) for name, field in READING_FIELDS.items()}
    values["seen"] = ", ".join(readings.seen) or None
    return {name: str(value) for name, value in values.items() if value is not None}


def _format_readings(readings: Readings) -> str:
    """Return readings in one line: ``dc=3.1V vpp=1Vpp``."""
    return " ".join(f"{name}={text}" for name, text in _fill_readings(readings).items())


def _complete_kind(text: str) -> str:
    """Return the kind of note that a text begins, such as ``fault``. Raises BadForm."""
    kinds = [kind for kind in NOTE_KINDS if kind.startswith(text.strip().casefold())]
    if len(kinds) != 1:
        raise BadForm(f"{text!r} is not a kind of note; choose one of {', '.join(NOTE_KINDS)}")
    return kinds[0]


def _check_after(text: str) -> None:
    """Raise BadReading unless the text is readings such as ``dc=3.1V vpp=1Vpp``."""
    place, written = split_fields(text)
    if place or not convert_point(read_keyed("", written)):
        raise BadReading(f"after: {text!r} holds no readings; write them as 'dc=3.1V vpp=1Vpp'")


def _check_date(text: str) -> None:
    """Raise BadForm unless the text is a date such as ``2026-11-25``."""
    try:
        date.fromisoformat(text)
    except ValueError:
        raise BadForm(f"date: {text!r} is not a day; write it as 2026-11-25") from None


def _parse_set_count(text: str) -> int:
    """Return a number of sets, 1 to 999,999. Raises BadForm."""
    is_whole_number = text.isascii() and text.isdecimal() and len(text) <= _MOST_SET_DIGITS
    if not is_whole_number or int(text) == 0:
        raise BadForm(f"sets: {text!r} is not a number of sets; write a whole number such as 3")
    return int(text)
