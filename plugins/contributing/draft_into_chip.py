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
_EXPECTED: Final = ("dc", "waveform", "resistance")


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
    chip = read_yaml(data, name).data
    if not isinstance(chip, dict) or not isinstance(chip.get("pins"), list):
        raise CannotDraftInto(f"{name} has no list of pins; begin it with: pinfolio new")
    _check_numbers(chip, table, name)
    # The table becomes a draft of the same form as the chip file, which is compared key by key.
    own_origin = replace(origin, id=_choose_source_id(chip, origin.id))
    draft = draft_chip(table, _find_identity(chip), own_origin)
    drafted = yaml.load(draft.text, Loader=YAML_LOADER)
    numbers = {pin.number for pin in table.pins}
    with_stated_role = {pin.number for pin in table.pins if pin.texts.get("role")}
    values = [
        *_compare_pins(chip, drafted, numbers, with_stated_role),
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
    left_out: list[SideBySide] = []
    is_complete = _find_fault(merge.text, merge.name) is None
    changed_text, has_changes = _apply(merge.text, [merge.source]), False
    for pin_values in _group_by_pin(chosen):
        edits = [edit for value in pin_values for edit in value.edits]
        candidate = _apply(changed_text, edits)
        fault = _find_fault(candidate, merge.name) if is_complete else None
        if fault is None:
            changed_text, has_changes = candidate, True
        else:
            left_out += [replace(value, outcome="left out", reason=fault) for value in pin_values]
    # A source that gives no value is not listed.
    if not has_changes:
        return merge.text, tuple(left_out)
    # A file that somebody laid out by hand keeps its layout.
    if format_chip_file(merge.text, merge.name) == merge.text:
        changed_text = format_chip_file(changed_text, merge.name)
    return changed_text, tuple(left_out)


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
    chip: Mapping[str, Any],
    drafted: Mapping[str, Any],
    numbers: set[int],
    with_stated_role: set[int],
) -> Iterator[SideBySide]:
    """Yield the values of each pin in the table; ``numbers`` are its pins.

    Of those in ``with_stated_role`` the table names the role; that of the others is a suggestion.
    """
    index_of = {
        str(pin.get("number")): index
        for index, pin in enumerate(chip["pins"])
        if isinstance(pin, dict)
    }
    for drafted_pin in drafted["pins"]:
        number = int(drafted_pin["number"])
        # The draft also has a blank pin for each one of the package that the table leaves out.
        if number not in numbers:
            continue
        index = index_of.get(drafted_pin["number"])
        if index is None:
            edits = ((("pins", ITEM), write_in_brackets(_drop_blanks(drafted_pin))),)
            yield SideBySide(number, "pin", "", drafted_pin.get("symbol", ""), "new", edits)
            continue
        own_pin, path = chip["pins"][index], ("pins", index)
        yield from _compare_texts(number, own_pin, drafted_pin, path, number in with_stated_role)
        for key in _QUANTITIES:
            if drafted_pin.get(key):
                yield _pair(number, key, own_pin.get(key), drafted_pin[key], (*path, key))
        yield from _compare_expectations(number, own_pin, drafted_pin, path)


def _compare_texts(
    number: int, own_pin: Any, drafted_pin: Any, path: tuple[Key, ...], role_stated: bool
) -> Iterator[SideBySide]:
    """Yield symbol, function and role of a pin, as far as the table has them."""
    is_unknown = all(_is_blank(own_pin.get(key), number) for key in ("function", "symbol"))
    # The role of a pin that nobody knew was a guess.
    is_role_open = is_unknown or not own_pin.get("role")
    for key in _TEXTS:
        offered = drafted_pin.get(key)
        if not offered:
            continue
        own_text = own_pin.get(key)
        if key == "role" and is_role_open:
            own_text = ""
        elif key == "role" and not role_stated:
            continue  # a role that the words suggest is no statement of the table
        yield _pair(number, key, own_text, offered, (*path, key))


def _compare_expectations(
    number: int, own_pin: Any, drafted_pin: Any, path: tuple[Key, ...]
) -> Iterator[SideBySide]:
    """Yield the DC of each condition, and further values of the draft in the same condition."""
    own_expectations = _list_maps(own_pin.get("expectations"))
    index_of = {
        str(expectation.get("condition")): index
        for index, expectation in enumerate(own_expectations)
    }
    for offered in _list_maps(drafted_pin.get("expectations")):
        condition = offered["condition"]
        index = index_of.get(condition)
        if index is None:
            yield from _offer_expectation(number, offered, path)
            continue
        own, own_path = own_expectations[index], (*path, "expectations", index)
        source = ((*own_path, "source"), write_in_brackets(_join_sources(own, offered)))
        for key in _EXPECTED:
            value = offered.get(key)
            if value and not _has_blank(value):
                name = f"{'DC' if key == 'dc' else key} ({condition})"
                pair = _pair(number, name, own.get(key), value, (*own_path, key))
                yield replace(pair, edits=(*pair.edits, source))


def _offer_expectation(
    number: int, offered: Mapping[str, Any], path: tuple[Key, ...]
) -> Iterator[SideBySide]:
    """Yield an expectation in a condition that the pin lacks, if it is more than blanks."""
    complete = {key: value for key, value in offered.items() if value and not _has_blank(value)}
    if complete.keys() - {"condition", "source", "note"}:
        edits = (((*path, "expectations", ITEM), write_in_brackets(complete)),)
        name = f"expected values ({offered['condition']})"
        yield SideBySide(number, name, "", _describe(complete), "new", edits)


def _join_sources(own: Mapping[str, Any], offered: Mapping[str, Any]) -> dict[str, Any]:
    """Return the reference of an expectation that has a value of the table and others of its own.

    An expectation has one source; the remark names that of the rest.
    """
    reference = dict(offered["source"])
    own_source = own.get("source")
    kept_values = [key for key in _EXPECTED if key != "dc" and own.get(key)]
    if isinstance(own_source, dict) and kept_values:
        row = reference.get("note", "")
        reference["note"] = f"{row}; the rest: {own_source.get('id', '')}".strip()
    return reference


def _compare_supplies(chip: Mapping[str, Any], drafted: Mapping[str, Any]) -> Iterator[SideBySide]:
    """Yield the voltage of each supply, by the pin that it enters at."""
    own_supplies = _list_maps(chip.get("supplies"))
    index_of = {
        str(number): index
        for index, supply in enumerate(own_supplies)
        if isinstance(supply.get("pins"), list)
        for number in supply["pins"]
    }
    blank_indexes = [
        index
        for index, supply in enumerate(own_supplies)
        if not supply.get("name") and not supply.get("pins")
    ]
    for supply in _list_maps(drafted.get("supplies")):
        (number,) = supply["pins"]
        if not supply.get("voltage"):
            continue
        if number in index_of:
            index = index_of[number]
            path, own_voltage = ("supplies", index, "voltage"), own_supplies[index].get("voltage")
            yield _pair(int(number), "supply voltage", own_voltage, supply["voltage"], path)
            continue
        edits: tuple[Edit, ...] = ((("supplies", ITEM), write_in_brackets(supply)),)
        # The blank supply of a new chip file is filled before another one is added.
        if blank_indexes:
            index = index_of[number] = blank_indexes.pop(0)
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
    own_parameters = _list_maps(chip.get("parameters"))
    for parameter in _list_maps(drafted.get("parameters")):
        pins, name = parameter.get("pins", []), parameter["name"]
        first_pin = int(pins[0]) if pins else None
        index = next(
            (
                index
                for index, own in enumerate(own_parameters)
                if own.get("name") == name and own.get("pins", []) == pins
            ),
            None,
        )
        if index is None:
            edits = ((("parameters", ITEM), write_in_brackets(parameter)),)
            yield SideBySide(first_pin, name, "", parameter["value"], "new", edits)
            continue
        path, own_value = ("parameters", index, "value"), own_parameters[index].get("value")
        yield _pair(first_pin, name, own_value, parameter["value"], path)


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
