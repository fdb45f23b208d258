"""The values of a chip file that a shop's correction note would change.

A correction is a note that says the catalogue is wrong. Its DC voltage fits the expectation of its
pin in its condition; its peak-to-peak voltage and frequency fit where the waveform there states
them. The level of a waveform that repeats the DC voltage, as that of a control voltage does, goes
with it. A resistance fits nothing: the chip file states it for each lead, and a note does not name
the lead.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from ...loaders.chip_files.yaml_positions import Key
from ...loaders.shop.note_anchors import follow_anchor, list_places
from ...schema import Chip
from ...schema.chips.expectation import Expectation
from ...schema.errors import Unknown
from ...schema.note import Note
from ...schema.quantities import Quantity, parse_quantity, print_value
from ...schema.text import part_key


class CannotPropose(Unknown):
    """A note changes nothing in a chip file; the message names the reason."""


@dataclass(frozen=True)
class Change:
    """One value of a chip file and the reading that is to replace it."""

    path: tuple[Key, ...]
    """Keys and indexes from the root of the chip file."""
    name: str
    """``DC``, ``level``, ``Vpp`` or ``frequency``."""
    stated: Quantity | None
    """The value that the chip file states; None where it states none."""
    read: Quantity
    """The value that the note gives."""


@dataclass(frozen=True)
class Correction:
    """A correction note with the expectation that it is about, and the changes it makes there."""

    note: Note
    place: tuple[Key, ...]
    """Path of the expectation in the chip file."""
    expectation: Expectation
    changes: tuple[Change, ...]

    @property
    def sentence(self) -> str:
        """Place, values and provenance in one line."""
        changed = ", ".join(
            f"{change.name} {change.stated or 'not stated'} -> {change.read}"
            for change in self.changes
        )
        sets = f"{self.note.sets} set{'s' if self.note.sets > 1 else ''}"
        where = f"{self.note.at}, {self.note.condition}"
        return f"{where}: {changed} ({self.note.shop}, {sets}, {self.note.date})"

    def document(self) -> dict[str, Any]:
        """Return note, place and changes as plain data."""
        note = self.note
        changes = [
            {"quantity": change.name, "stated": _print(change.stated), "read": str(change.read)}
            for change in self.changes
        ]
        named = {"note": note.id, "shop": note.shop, "date": note.date, "sets": note.sets}
        return {**named, "at": note.at, "condition": note.condition, "changes": changes}


def find_correction(chip: Chip, note: Note) -> Correction:
    """Return the correction that a note makes in its chip's file.

    Raises CannotPropose where it makes none: no correction, no such pin or expectation, no figure
    that fits a field, or the chip file already says so.
    """
    if note.kind != "correction" or note.withdrawn:
        sort = "withdrawn" if note.withdrawn else f"a {note.kind}"
        raise CannotPropose(f"the note {note.id} is {sort}; name a note of kind correction")
    followed, index = _find_pin(chip, note)
    place, expectation = _find_expectation(chip, followed, index)
    fitting = list(_list_fitting(note, place, expectation))
    where = f"{chip.part} {followed.at} in '{note.condition}'"
    if not fitting:
        raise CannotPropose(
            f"the note {note.id} has no figure that fits a field of {where}"
            "; a DC voltage does, Vpp and frequency do where the waveform there states them"
        )
    changes = tuple(change for change in fitting if change.stated != change.read)
    if not changes:
        raise CannotPropose(
            f"the chip file already says for {where} as the note {note.id} says; nothing is open"
        )
    return Correction(followed, place, expectation, changes)


def list_open_corrections(chip: Chip, notes: Iterable[Note]) -> tuple[Correction, ...]:
    """Return the corrections among the newest revisions of notes that the chip file lacks."""
    corrections: list[Correction] = []
    for note in notes:
        if note.kind != "correction" or part_key(note.chip) != part_key(chip.part):
            continue
        try:
            corrections.append(find_correction(chip, note))
        except CannotPropose:  # nothing to change
            continue
    return tuple(corrections)


def _find_pin(chip: Chip, note: Note) -> tuple[Note, int]:
    """Return the note at the pin that it means, and the pin's index. Raises CannotPropose."""
    if not (note.at.startswith("pin ") and note.at[4:].isdecimal()):
        raise CannotPropose(
            f"the note {note.id} is on '{note.at}'; only a correction of a pin can be proposed"
        )
    followed = follow_anchor(note, list_places(chip))
    for index, pin in enumerate(chip.pins):
        if followed is not None and followed.at == f"pin {pin.number}":
            return followed, index
    raise CannotPropose(
        f"the note {note.id} is on {note.at}, which {chip.part}"
        " no longer has as it was noted; move the note with 'pinfolio note edit'"
    )


def _find_expectation(chip: Chip, note: Note, pin: int) -> tuple[tuple[Key, ...], Expectation]:
    """Return path and expectation in the note's condition. Raises CannotPropose."""
    for index, expectation in enumerate(chip.pins[pin].expectations):
        if expectation.condition == note.condition:
            return ("pins", pin, "expectations", index), expectation
    raise CannotPropose(
        f"{chip.part} {note.at} has no expectation in '{note.condition}' that the note {note.id}"
        " could correct; add one to the chip file"
    )


def _list_fitting(note: Note, place: tuple[Key, ...], expectation: Expectation) -> Iterable[Change]:
    """Yield the values of the expectation for which the note has a figure, changed or not."""
    readings = note.readings
    if readings is None:
        return
    if readings.dc is not None:
        yield Change((*place, "dc"), "DC", expectation.dc, readings.dc)
        level = getattr(expectation.waveform, "level", None)
        if isinstance(level, Quantity) and _repeats_dc(expectation, level):
            # A level is one value, where the DC may have been read as a range.
            middle = parse_quantity(print_value(readings.dc.nominal, "V", None), "V")
            yield Change((*place, "waveform", "level"), "level", level, middle)
    signal_figures = (
        ("Vpp", "vpp", readings.vpp),
        ("frequency", "frequency", readings.frequency),
    )
    for name, key, figure in signal_figures:
        stated = getattr(expectation.waveform, key, None)
        if figure is not None and isinstance(stated, Quantity):
            yield Change((*place, "waveform", key), name, stated, figure)


def _repeats_dc(expectation: Expectation, level: Quantity) -> bool:
    return expectation.dc is not None and expectation.dc.nominal == level.nominal


def _print(stated: Quantity | None) -> str | None:
    return None if stated is None else str(stated)
