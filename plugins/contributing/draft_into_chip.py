"""Draft a table into an existing chip file: values side by side, none of the file's overwritten.

Blanks and values marked as not known are filled, values that the file lacks are added with the
table as their source, and where the two differ the contributor chooses. Comments, layout and every
other character of the chip file stay.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import count
from typing import Any, Final, Literal

import yaml

from ...loaders.chip_files.canonical_text import format_chip_file
from ...loaders.chip_files.chip_file import read_chip
from ...loaders.chip_files.value_edits import append_item, put_value
from ...loaders.chip_files.yaml_comments import Scalar
from ...loaders.chip_files.yaml_layout import format_scalar
from ...loaders.chip_files.yaml_positions import YAML_LOADER, Key, read_yaml
from ...loaders.drafting.chip_draft import Origin, draft_chip
from ...loaders.drafting.draft_identity import Identity
from ...loaders.drafting.pin_table import PinTable
from ...loaders.errors import ChipFileError
from ...schema.errors import Unusable
from ...schema.quantities.any_unit import parse_quantity_of_any_unit
from ...schema.quantities.errors import QuantityError
from ...schema.text import part_key
from .begun_chip import NOT_KNOWN
from .new_chip import NotAChip, read_package
from .same_function import compare_wordings

Outcome = Literal["new", "same", "conflict", "left out"]
Edit = tuple[tuple[Key, ...], str]
"""Path of a value, and its YAML text; a path that ends in ``ITEM`` is a further item of a list."""

ITEM: Final = "+"
_QUANTITIES: Final = ("absolute_maximum", "resistance", "capacitance")
_TEXTS: Final = ("symbol", "function", "role")


class CannotDraftInto(Unusable):
    """The table does not belong to the chip file; the message says why."""


@dataclass(frozen=True)
class SideBySide:
    """A value of the table beside that of the chip file."""

    pin: int | None
    name: str
    """Field of the pin or chip: function, DC (no signal)."""
    in_chip: str
    """Text in the chip file; empty for a blank."""
    in_table: str
    outcome: Outcome
    edits: tuple[Edit, ...] = ()
    """Changes of the chip file that take the table's value in."""
    reason: str = ""
    """Why the value was left out."""


@dataclass(frozen=True)
class Merge:
    """The values of a table beside those of a chip file."""

    text: str
    """The chip file as it is."""
    name: str
    source: Edit
    """The table as a further source of the chip file."""
    values: tuple[SideBySide, ...]

    def select_values(self, outcome: Outcome) -> list[SideBySide]:
        """Return the values with one outcome, in order."""
        return [value for value in self.values if value.outcome == outcome]


def compare_with_chip(data: bytes, name: str, table: PinTable, origin: Origin) -> Merge:
    """Return the values of ``table`` beside those of the chip file ``data``.

    Raises ChipFileError for a file that is no YAML, CannotDraftInto for a table of another chip.
    """
    located = read_yaml(data, name)
    chip = located.data
    if not isinstance(chip, dict) or not isinstance(chip.get("pins"), list):
        raise CannotDraftInto(f"{name} has no list of pins; begin it with: pinfolio new")
    own_origin = replace(origin, id=_choose_source_id(chip, origin.id))
    draft = draft_chip(table, _find_identity(chip), own_origin)
    drafted = yaml.load(draft.text, Loader=YAML_LOADER)
    _check_numbers(chip, table, name)
    stated = {pin.number for pin in table.pins if pin.texts.get("role")}
    values = [
        *_compare_pins(chip, drafted, {pin.number for pin in table.pins}, stated),
        *_compare_supplies(chip, drafted),
        *_compare_parameters(chip, drafted),
        *_list_needed_conditions(chip, drafted),
    ]
    source = (("sources", ITEM), write_in_brackets(drafted["sources"][0]))
    return Merge(data.decode("utf-8-sig"), name, source, tuple(values))


def apply_values(merge: Merge, chosen: Iterable[SideBySide]) -> tuple[str, tuple[SideBySide, ...]]:
    """Return the chip file with the chosen values, and those left out since they break a rule.

    A chip file without faults keeps none; one with blanks may keep its own.
    """
    text, broken = merge.text, list[SideBySide]()
    is_complete = _find_fault(text, merge.name) is None
    base = _apply(text, [merge.source])
    changed = False
    for group in _group_by_pin(chosen):
        candidate = _apply(base, [edit for value in group for edit in value.edits])
        fault = _find_fault(candidate, merge.name) if is_complete else None
        if fault is None:
            base, changed = candidate, True
        else:
            broken += [replace(value, outcome="left out", reason=fault) for value in group]
    if not changed:
        return text, tuple(broken)
    # A file that somebody laid out by hand keeps its layout.
    is_formatted = format_chip_file(text, merge.name) == text
    return (format_chip_file(base, merge.name) if is_formatted else base), tuple(broken)


def _group_by_pin(values: Iterable[SideBySide]) -> list[list[SideBySide]]:
    """Return the values pin by pin; those of the whole chip first, since pins refer to them."""
    groups: dict[int, list[SideBySide]] = {}
    for index, value in enumerate(values):
        groups.setdefault(value.pin or -index - 1, []).append(value)
    return [groups[number] for number in sorted(groups)]


def _find_fault(text: str, name: str) -> str | None:
    """Return the first fault of a chip file in words, None without one."""
    try:
        read_chip(text.encode(), name)
    except ChipFileError as refused:
        return refused.faults[0].message
    return None


def _apply(text: str, edits: Iterable[Edit]) -> str:
    for path, value in edits:
        if path[-1] == ITEM:
            text = _append(text, path[:-1], value)
        else:
            text = put_value(text, path, value)
    return text


def _append(text: str, path: tuple[Key, ...], item: str) -> str:
    """Return the text with an item more in a list, which may be missing or empty.

    Raises CannotDraftInto for anything else there, which would be overwritten.
    """
    present = read_yaml(text.encode(), "chip file").at(path)
    if present and not isinstance(present, list):
        keys = ".".join(map(str, path))
        raise CannotDraftInto(f"{keys} in the chip file is no list; pinfolio lint says where")
    return append_item(text, path, item) if present else put_value(text, path, f"[{item}]")


def _choose_source_id(chip: Mapping[str, Any], wanted: str) -> str:
    taken = {str(source.get("id")) for source in _list_maps(chip.get("sources"))}
    if wanted not in taken:
        return wanted
    return next(name for number in count(2) if (name := f"{wanted}-{number}") not in taken)


def _find_identity(chip: Mapping[str, Any]) -> Identity:
    """Return the identity that the chip file states, so that the draft asks for none of it."""
    package = chip.get("package")
    body = None
    if isinstance(package, dict):
        try:
            body = read_package(f"{package.get('family')}-{package.get('pins')}")
        except NotAChip:
            body = None
    return Identity(str(chip.get("part") or "") or None, None, None, body)


def _check_numbers(chip: Mapping[str, Any], table: PinTable, name: str) -> None:
    """Raise CannotDraftInto for pins beyond the package."""
    package = chip.get("package")
    pins = str(package.get("pins", "")) if isinstance(package, dict) else ""
    beyond = [pin.number for pin in table.pins if pins.isdecimal() and pin.number > int(pins)]
    if beyond:
        raise CannotDraftInto(
            f"the table has pin {beyond[0]}, but the package in {name} has only {pins}"
        )


def _compare_pins(
    chip: Mapping[str, Any], drafted: Mapping[str, Any], numbers: set[int], stated: set[int]
) -> Iterator[SideBySide]:
    """Yield the values of each pin in the table; ``stated`` are those whose role it names."""
    index_of = {
        str(pin.get("number")): i for i, pin in enumerate(chip["pins"]) if isinstance(pin, dict)
    }
    for there in drafted["pins"]:
        number = int(there["number"])
        if number not in numbers:
            continue
        index = index_of.get(there["number"])
        if index is None:
            edits = ((("pins", ITEM), write_in_brackets(_drop_blanks(there))),)
            yield SideBySide(number, "pin", "", there.get("symbol", ""), "new", edits)
            continue
        here, path = chip["pins"][index], ("pins", index)
        yield from _compare_texts(number, here, there, path, number in stated)
        for key in _QUANTITIES:
            if there.get(key):
                yield _pair(number, key, here.get(key), there[key], (*path, key))
        yield from _compare_expectations(number, here, there, path)


def _compare_texts(
    number: int, here: Any, there: Any, path: tuple[Key, ...], role_stated: bool
) -> Iterator[SideBySide]:
    is_unknown = _is_blank(here.get("function"), number) and _is_blank(here.get("symbol"), number)
    for key in _TEXTS:
        offered = there.get(key)
        if not offered:
            continue
        # A role that the words suggest is no statement of the table.
        is_open = is_unknown or not here.get("role")
        if key == "role" and not is_open and not role_stated:
            continue
        known = "" if key == "role" and is_open else here.get(key)
        yield _pair(number, key, known, offered, (*path, key))


def _compare_expectations(
    number: int, here: Any, there: Any, path: tuple[Key, ...]
) -> Iterator[SideBySide]:
    """Yield the DC of each condition, and further values of the draft in the same condition."""
    mine = _list_maps(here.get("expectations"))
    index_of = {str(expectation.get("condition")): i for i, expectation in enumerate(mine)}
    for offered in _list_maps(there.get("expectations")):
        condition = offered["condition"]
        row = offered.get("source", {}).get("note", "")
        index = index_of.get(condition)
        if index is None:
            complete = {k: v for k, v in offered.items() if v and not _has_blank(v)}
            if complete.keys() - {"condition", "source", "note"}:
                edits = (((*path, "expectations", ITEM), write_in_brackets(complete)),)
                text = _describe(complete)
                yield SideBySide(number, f"expected values ({condition})", "", text, "new", edits)
            continue
        at = (*path, "expectations", index)
        source = ((*at, "source"), write_in_brackets(_join_sources(mine[index], offered, row)))
        for key in ("dc", "waveform", "resistance"):
            value = offered.get(key)
            if value and not _has_blank(value):
                name = f"{'DC' if key == 'dc' else key} ({condition})"
                pair = _pair(number, name, mine[index].get(key), value, (*at, key))
                yield replace(pair, edits=(*pair.edits, source))


def _join_sources(mine: Mapping[str, Any], offered: Mapping[str, Any], row: str) -> dict[str, Any]:
    """Return the reference of an expectation that has a value of the table and others of its own.

    An expectation has one source; the remark names that of the rest.
    """
    reference = dict(offered["source"])
    own = mine.get("source")
    others = [key for key in ("dc", "waveform", "resistance") if mine.get(key)]
    if isinstance(own, dict) and len(others) + ("dc" not in others) > 1:
        reference["note"] = f"{row}; the rest: {own.get('id', '')}".strip()
    return reference


def _compare_supplies(chip: Mapping[str, Any], drafted: Mapping[str, Any]) -> Iterator[SideBySide]:
    """Yield the voltage of each supply, by the pin that it enters at."""
    mine = _list_maps(chip.get("supplies"))
    index_of = {
        str(number): i
        for i, supply in enumerate(mine)
        if isinstance(supply.get("pins"), list)
        for number in supply["pins"]
    }
    for supply in _list_maps(drafted.get("supplies")):
        (number,) = supply["pins"]
        if not supply.get("voltage"):
            continue
        index = index_of.get(number)
        if index is not None:
            path = ("supplies", index, "voltage")
            known = mine[index].get("voltage")
            yield _pair(int(number), "supply voltage", known, supply["voltage"], path)
            continue
        blank = [i for i, own in enumerate(mine) if not own.get("name") and not own.get("pins")]
        edits: tuple[Edit, ...] = ((("supplies", ITEM), write_in_brackets(supply)),)
        if blank:
            index_of[number] = index = blank[0]
            mine[index]["name"] = supply["name"]
            edits = tuple(
                (("supplies", index, key), write_in_brackets(value))
                for key, value in supply.items()
            )
        text = f"{supply['name']} {supply['voltage']}"
        yield SideBySide(int(number), "supply", "", text, "new", edits)


def _compare_parameters(
    chip: Mapping[str, Any], drafted: Mapping[str, Any]
) -> Iterator[SideBySide]:
    """Yield the characteristics of the table; those of one name and place are compared."""
    mine = _list_maps(chip.get("parameters"))
    for parameter in _list_maps(drafted.get("parameters")):
        pins, name = parameter.get("pins", []), parameter["name"]
        pin = int(pins[0]) if pins else None
        same = [
            i
            for i, own in enumerate(mine)
            if own.get("name") == name and own.get("pins", []) == pins
        ]
        if same:
            path = ("parameters", same[0], "value")
            yield _pair(pin, name, mine[same[0]].get("value"), parameter["value"], path)
        else:
            edits = ((("parameters", ITEM), write_in_brackets(parameter)),)
            yield SideBySide(pin, name, "", parameter["value"], "new", edits)


def _list_needed_conditions(
    chip: Mapping[str, Any], drafted: Mapping[str, Any]
) -> Iterator[SideBySide]:
    """Yield the conditions of the table that the chip file does not have."""
    known = {str(condition.get("name")) for condition in _list_maps(chip.get("conditions"))}
    used = {
        expectation["condition"]
        for pin in drafted["pins"]
        for expectation in _list_maps(pin.get("expectations"))
    }
    for condition in _list_maps(drafted.get("conditions")):
        if condition["name"] in used - known:
            edits = ((("conditions", ITEM), write_in_brackets(condition)),)
            yield SideBySide(None, "condition", "", condition["name"], "new", edits)


def _pair(
    pin: int | None, name: str, known: Any, offered: Any, path: tuple[Key, ...]
) -> SideBySide:
    """Return two values of one field side by side."""
    outcome: Outcome = "conflict"
    if _is_blank(known, pin):
        known, outcome = "", "new"
    elif known == offered or (isinstance(known, str) and _agree(known, str(offered))):
        outcome = "same"
    sides = [
        side if isinstance(side, str) else write_in_brackets(side) for side in (known, offered)
    ]
    return SideBySide(pin, name, sides[0], sides[1], outcome, ((path, write_in_brackets(offered)),))


def _is_blank(value: Any, pin: int | None) -> bool:
    """Return whether a value is missing, or marked as not known by a chip begun at the bench."""
    return not value or value == NOT_KNOWN or value == f"?{pin}"


def _agree(known: str, offered: str) -> bool:
    """Return whether two texts give the same quantity, name or function."""
    if part_key(known) == part_key(offered):
        return True
    try:
        return parse_quantity_of_any_unit(known) == parse_quantity_of_any_unit(offered)
    except QuantityError:
        return compare_wordings(known, offered) == "same"


def _describe(expectation: Mapping[str, Any]) -> str:
    words = [
        value if isinstance(value, str) else key
        for key, value in expectation.items()
        if key not in ("condition", "source", "note")
    ]
    return ", ".join(words)


def _list_maps(value: Any) -> list[dict[str, Any]]:
    return [item for item in value if isinstance(item, dict)] if isinstance(value, list) else []


def _has_blank(value: Any) -> bool:
    return isinstance(value, dict) and not all(value.values())


def _drop_blanks(pin: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in pin.items() if value}


def write_in_brackets(value: Any) -> str:
    """Return a value as YAML that is right within brackets, on one line; all text stays text."""
    if isinstance(value, dict):
        return (
            "{"
            + ", ".join(f"{key}: {write_in_brackets(item)}" for key, item in value.items())
            + "}"
        )
    if isinstance(value, list):
        return "[" + ", ".join(map(write_in_brackets, value)) + "]"
    return format_scalar(Scalar(str(value)), in_brackets=True)
