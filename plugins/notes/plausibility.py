"""Facts of a note that are hardly possible: asked back at entry, kept only with a reason."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from ...schema import Chip
from ...schema.chips.data import Pin
from ...schema.model import pin_number
from ...schema.note import Note, Readings
from ...schema.quantities import print_value


def list_doubts(note: Note, chip: Chip | None, today: date) -> tuple[str, ...]:
    """Return what is hardly possible in a note, in sentences; nothing of a withdrawn one.

    Of a chip that is not known only the date is looked at.
    """
    if note.withdrawn:
        return ()
    return tuple(_yield_doubts(note, chip, today))


def state_reason(note: Note, reason: str) -> Note:
    """Return the note with the reason why it is right all the same."""
    fields = note.model_dump(mode="json", exclude_defaults=True)
    return Note.model_validate(fields | {"reason": reason})


def _yield_doubts(note: Note, chip: Chip | None, today: date) -> Iterator[str]:
    if date.fromisoformat(note.date) > today:
        yield f"the date {note.date} is to come; today is {today.isoformat()}"
    number = pin_number(note.at) if chip is not None else None
    pin = chip.pin(number) if chip is not None and number is not None else None
    if pin is None:
        return
    for readings in (note.readings, note.readings_after):
        if readings is not None:
            yield from _doubt_readings(pin, readings)


def _doubt_readings(pin: Pin, readings: Readings) -> Iterator[str]:
    """Yield the doubts about readings at a pin."""
    if pin.role == "unused":
        yield f"pin {pin.number} {pin.symbol} is not connected, but it was read"
    maximum, dc, vpp = pin.absolute_maximum, readings.dc, readings.vpp
    if maximum is None or dc is None:
        return
    # A signal swings at least half its height to one side of its mean.
    peak_v = dc.nominal + (vpp.nominal / 2 if vpp is not None else 0.0)
    if peak_v > maximum.nominal:
        reached = print_value(peak_v, "V")
        yield f"{reached} at pin {pin.number} {pin.symbol} is above its absolute maximum {maximum}"
