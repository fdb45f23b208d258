"""Anchors of notes: the place that a note means, by symbol and function, if it is renamed."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from ...schema import Chip
from ...schema.model import pin_number
from ...schema.note import Anchor, Note

_LONGEST_SYMBOL: Final = 80  # as long as an anchor may have it


@dataclass(frozen=True)
class NamedPlace:
    """A place of a chip file as far as anchors know it: a pin, a part, a node or a block."""

    at: str
    """As notes name it: ``pin 9``, the reference of a part, the id of a node or block."""
    symbol: str
    """Symbol of a pin, sort and value of a part, name of a node or block."""
    function: str
    """Function of a pin, ends of a part, id of a node or block."""


def list_places(chip: Chip) -> list[NamedPlace]:
    """Return every place of a chip file that a note can be on."""
    application, symbols = chip.application, {f"pin {pin.number}": pin.symbol for pin in chip.pins}
    return [
        *(NamedPlace(f"pin {pin.number}", pin.symbol, pin.function) for pin in chip.pins),
        *(name_part(part.ref, part.kind, part.value, part.joins, symbols)
          for part in application.parts),
        *(NamedPlace(node.id, node.name, node.id) for node in application.nodes),
        *(NamedPlace(block.id, block.name, block.id) for block in chip.blocks),
    ]  # fmt: skip


def name_part(
    ref: str, kind: str, value: str | None, ends: Iterable[str], symbols: Mapping[str, str]
) -> NamedPlace:
    """Return the place of a part; ``symbols`` are those of the pins, which may be numbered anew."""
    joined = " to ".join(symbols.get(end, end) for end in ends)
    return NamedPlace(ref, " ".join(filter(None, (kind, value))), joined)


def hash_chip(chip: Chip) -> str:
    """Return the SHA-256 of a chip's document, which names its revision."""
    return hashlib.sha256(chip.document().encode()).hexdigest()


def anchor_note(note: Note, chip: Chip, chip_digest: str | None = None) -> Note:
    """Return the note with the anchor of its place in ``chip``; without one where there is none.

    ``chip_digest`` is that of ``hash_chip``, for a caller with many notes on one chip.
    """
    place = next((place for place in list_places(chip) if place.at == note.at), None)
    if place is None:
        return note.model_copy(update={"anchor": None})
    symbol, function = place.symbol[:_LONGEST_SYMBOL].strip(), place.function.strip()
    revision = chip_digest or hash_chip(chip)
    anchor = Anchor(symbol=symbol, function=function, chip_file=revision)
    return note.model_copy(update={"anchor": anchor})


def follow_anchor(note: Note, places: Iterable[NamedPlace]) -> Note | None:
    """Return the note at the place that its anchor means; None if the chip has it no more.

    The pin of the noted number counts while it bears the symbol; else the only one of the symbol,
    among several the only one of the function too; else the pin renamed, of the same function: at
    the same number or the only one. So do nodes and blocks, by name and id. A part is the one
    between the same ends, by sort and value among several; at its old reference the sort and value
    are enough. A note without an anchor stays as it is.
    """
    anchor = note.anchor
    if anchor is None:
        return note
    alike = [place for place in places if _sort_place(place.at) == _sort_place(note.at)]
    of_symbol = [p for p in alike if _is_equal(p.symbol[:_LONGEST_SYMBOL], anchor.symbol)]
    of_function = [place for place in alike if _is_equal(place.function, anchor.function)]
    choose = _list_choices_of_parts if _sort_place(note.at) == "part" else _list_choices
    for choice in choose(note.at, of_symbol, of_function):
        if len(choice) == 1:
            return note if choice[0].at == note.at else note.model_copy(update={"at": choice[0].at})
    return None


def _list_choices(
    at: str, of_symbol: list[NamedPlace], of_function: list[NamedPlace]
) -> list[list[NamedPlace]]:
    """Return the places that a note on a pin, node or block may mean, the surest first."""
    return [
        _select_same(of_symbol, at),
        of_symbol,
        [place for place in of_symbol if place in of_function],
        [] if of_symbol else _select_same(of_function, at),
        [] if of_symbol else of_function,
    ]


def _list_choices_of_parts(
    ref: str, of_symbol: list[NamedPlace], of_function: list[NamedPlace]
) -> list[list[NamedPlace]]:
    """Return the parts that a note may mean, the surest first.

    A reference is but a number, and many parts have one value: the ends tell which part it is.
    """
    both = [place for place in of_symbol if place in of_function]
    return [
        _select_same(both, ref),
        both,
        _select_same(of_function, ref),
        of_function,
        _select_same(of_symbol, ref),
    ]


def _select_same(places: Iterable[NamedPlace], at: str) -> list[NamedPlace]:
    return [place for place in places if place.at == at]


def _sort_place(at: str) -> str:
    """Return the sort of a place by its name: ids of nodes and blocks begin with a small letter."""
    if pin_number(at) is not None:
        return "pin"
    return "node or block" if at[:1].islower() else "part"


def _is_equal(text: str, other: str) -> bool:
    """Return whether two texts differ at most in case, blanks and a full stop at the end."""
    first, second = (" ".join(each.casefold().rstrip(" .").split()) for each in (text, other))
    return first == second
