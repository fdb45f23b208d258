"""The chip sheet: one chip at a glance, with the table of its pins."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from typing import Any, Final, NamedTuple

from ...schema.chip import Chip
from ...schema.chips.application import Part
from ...schema.chips.data import Pin
from ...schema.chips.lookup import has_picture, rank_expectation
from ...schema.chips.usual_faults import describe_endpoint
from ...schema.note import Note
from ...schema.quantities import print_value
from ..notes.note_view import NoteView, group_revisions
from .cautions import GENERAL, list_hazards_nearby
from .stated_parameters import StatedParameter, state_parameters

MOST_NOTES: Final = 500  # on a sheet, the best confirmed; the page of notes lists more
_STATED_FAILING: Final = re.compile(r";[^;:]*:")
_FEWEST_PINS: Final = 2  # with a DC voltage in a condition, for a column of its own


class PinLine(NamedTuple):
    """A line of the pin table: the pin, its DC in each condition, and its signal."""

    pin: Pin
    dc: tuple[str, ...]
    """DC in each of the sheet's conditions, in order; empty text without one."""
    signal: str
    """Kind of waveform, peak to peak and frequency of the liveliest condition."""


class ChipSheet(NamedTuple):
    """One chip with its pin table; ``conditions`` are the DC columns of the table."""

    chip: Chip
    conditions: tuple[str, ...]
    lines: tuple[PinLine, ...]
    notes: tuple[NoteView, ...] = ()
    """Notes anywhere on the chip, best confirmed first."""

    @property
    def remarks(self) -> tuple[NoteView, ...]:
        """Notes other than readings of good sets, which belong to the pin cards."""
        return tuple(shown for shown in self.notes if shown.note.kind != "known-good reading")

    @property
    def good_readings(self) -> dict[str, int]:
        """Number of readings of good sets by place, the most frequent first."""
        good = (s.note.at for s in self.notes if s.note.kind == "known-good reading")
        return dict(Counter(good).most_common())

    @property
    def parameters(self) -> tuple[StatedParameter, ...]:
        """Characteristics from the data sheet, in words."""
        return state_parameters(self.chip, self.chip.parameters)

    @property
    def cautions(self) -> tuple[str, ...]:
        """Hazards of the whole set, then those of single points."""
        everywhere = (
            f"{hazard.kind[:1].upper()}{hazard.kind[1:]}: {hazard.caution}"
            for hazard in self.chip.hazards
            if hazard.at is None
        )
        return (*everywhere, *list_hazards_nearby(self.chip), GENERAL)

    def document(self) -> dict[str, Any]:
        """Return the sheet as plain data, with values as the chip file writes them."""
        chip = self.chip
        return {
            "part": chip.part,
            "maker": chip.maker,
            "kind": chip.kind,
            "summary": chip.summary,
            "invented": chip.invented,
            "systems": list(chip.systems),
            "package": chip.package.name,
            "markings": list(chip.markings),
            "replaces": [relation.model_dump(mode="json") for relation in chip.replaces],
            "similar": [relation.model_dump(mode="json") for relation in chip.similar],
            "supplies": [supply.model_dump(mode="json") for supply in chip.supplies],
            "conditions": [condition.model_dump(mode="json") for condition in chip.conditions],
            "pins": [_describe_line(self.conditions, line) for line in self.lines],
            "blocks": [block.model_dump(mode="json") for block in chip.blocks],
            "parts": [describe_part(chip, ref) for ref in range(len(chip.application.parts))],
            "parameters": [stated.document() for stated in self.parameters],
            "sources": [source.model_dump(mode="json") for source in chip.sources],
            "cautions": list(self.cautions),
            "notes": [shown.document() for shown in self.notes],
        }


def build_chip_sheet(
    chip: Chip,
    condition: str | None = None,
    notes: Iterable[Note] = (),
    proposals: Iterable[Note] = (),
) -> ChipSheet:
    """Return the sheet of a chip with the notes on it.

    Its table has a column for each condition in which at least two pins have a DC voltage, the most
    frequent first, or only for ``condition``, spelt as in the chip file.
    """
    conditions = (condition,) if condition else choose_conditions(chip)
    lines = tuple(_build_line(pin, conditions) for pin in chip.pins)
    return ChipSheet(chip, conditions, lines, group_revisions(notes, proposals))


def describe_part(chip: Chip, index: int) -> dict[str, Any]:
    """Return one part around the chip as plain data, its ends in words."""
    part = chip.application.parts[index]
    return {
        "ref": part.ref,
        "kind": part.kind,
        "value": part.value,
        "joins": [describe_endpoint(chip, end) for end in part.joins],
        "purpose": part.purpose,
    }


def list_known_failings(chip: Chip) -> tuple[Part, ...]:
    """Return the parts whose purpose says how it shows when they fail: ``leaky: field rolls``."""
    return tuple(p for p in chip.application.parts if _STATED_FAILING.search(p.purpose or ""))


def choose_conditions(chip: Chip) -> tuple[str, ...]:
    """Return the conditions in which two pins or more have a DC voltage, most frequent first."""
    counts = {condition.name: 0 for condition in chip.conditions}
    for pin in chip.pins:
        for expectation in pin.expectations:
            if expectation.dc is not None:
                counts[expectation.condition] += 1
    frequent = [name for name, count in counts.items() if count >= _FEWEST_PINS]
    return tuple(sorted(frequent, key=lambda name: -counts[name]))


def _build_line(pin: Pin, conditions: tuple[str, ...]) -> PinLine:
    """Return the line of one pin."""
    expectations = {expectation.condition: expectation for expectation in pin.expectations}
    dc = tuple(
        print_value(e.dc.nominal, "V") if (e := expectations.get(name)) and e.dc else ""
        for name in conditions
    )
    return PinLine(pin, dc, _describe_signal(pin))


def _describe_signal(pin: Pin) -> str:
    """Return waveform, peak to peak and frequency in the liveliest condition; empty without."""
    # The liveliest condition is the one that the pin's card shows first.
    lively = [expectation for expectation in pin.expectations if has_picture(expectation)]
    waveform = max(lively, key=rank_expectation).waveform if lively else None
    if waveform is None:
        return ""
    vpp, frequency = print_value(waveform.vpp_v, "Vpp"), print_value(waveform.frequency_hz, "Hz")
    return f"{waveform.kind}, {vpp}, {frequency}"


def _describe_line(conditions: tuple[str, ...], line: PinLine) -> dict[str, Any]:
    """Return a line of the table as plain data."""
    return {
        "pin": line.pin.number,
        "symbol": line.pin.symbol,
        "function": line.pin.function,
        "role": line.pin.role,
        "dc": {name: dc for name, dc in zip(conditions, line.dc, strict=True) if dc},
        "signal": line.signal or None,
    }
