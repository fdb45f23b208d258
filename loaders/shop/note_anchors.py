"""Anchors of notes: the pin that a note means, by symbol and function, if its number changes."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass

from ...schema import Chip
from ...schema.model import pin_number
from ...schema.note import Anchor, Note


@dataclass(frozen=True)
class NamedPin:
    """A pin of a chip file as far as anchors know it."""

    number: int
    symbol: str
    function: str


def hash_chip(chip: Chip) -> str:
    """Return the SHA-256 of a chip's document, which names its revision."""
    return hashlib.sha256(chip.document().encode()).hexdigest()


def anchor_note(note: Note, chip: Chip, chip_digest: str | None = None) -> Note:
    """Return the note with the anchor of its pin in ``chip``; at another place without one.

    ``chip_digest`` is that of ``hash_chip``, for a caller with many notes on one chip.
    """
    number = pin_number(note.at)
    pin = None if number is None else chip.pin(number)
    if pin is None:
        return note.model_copy(update={"anchor": None})
    revision = chip_digest or hash_chip(chip)
    anchor = Anchor(symbol=pin.symbol, function=pin.function, chip_file=revision)
    return note.model_copy(update={"anchor": anchor})


def follow_anchor(note: Note, pins: Iterable[NamedPin]) -> Note | None:
    """Return the note at the pin that its anchor means; None if the chip has no such pin any more.

    The pin of the noted number counts while it bears the symbol; else the only one of the symbol,
    among several the only one of the function too; else the pin renamed, of the same function: at
    the same number or the only one. A note without an anchor stays as it is.
    """
    anchor, pins = note.anchor, tuple(pins)
    if anchor is None:
        return note
    number = pin_number(note.at)
    of_symbol = [pin for pin in pins if _is_equal(pin.symbol, anchor.symbol)]
    of_function = [pin for pin in pins if _is_equal(pin.function, anchor.function)]
    both = [pin for pin in of_symbol if pin in of_function]
    choices = [
        [pin for pin in of_symbol if pin.number == number],
        of_symbol,
        both,
        [] if of_symbol else [pin for pin in of_function if pin.number == number],
        [] if of_symbol else of_function,
    ]
    meant = next((choice[0] for choice in choices if len(choice) == 1), None)
    if meant is None:
        return None
    return note if meant.number == number else note.model_copy(update={"at": f"pin {meant.number}"})


def _is_equal(text: str, other: str) -> bool:
    """Return whether two texts differ at most in case, blanks and a full stop at the end."""
    first, second = (" ".join(each.casefold().rstrip(" .").split()) for each in (text, other))
    return first == second
