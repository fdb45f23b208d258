"""The pins of a chip as a table: function, expected values, and two periods of the signal.

Each condition has its own figures, so that none is read without the state of the set it holds in.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Final

from ...schema import Chip, Expectation, Pin, print_value
from ...schema.chips.lookup import has_picture
from ...schema.note import Note
from ...schema.quantities import print_span
from ..drawing.role_glyphs import ROLE_WORDS
from ..drawing.small_picture import draw_small_picture
from ..readings.observed_range import compare_with_catalogue
from .cautions import may_probe
from .chip_sheet import choose_conditions
from .stage_groups import GROUPS, group_pins

MOST_CONDITIONS: Final = 6


@dataclass(frozen=True)
class PinCell:
    """The expected values of a pin in one condition; empty where the chip file has none."""

    expectation: Expectation | None

    @property
    def dc(self) -> str:
        """The DC voltage: ``3.3 V``."""
        dc = self.expectation.dc if self.expectation else None
        return "" if dc is None else print_value(dc.nominal, "V")

    @property
    def limits(self) -> str:
        """Limits of the DC voltage: ``2.64 to 3.96 V``."""
        limits = self.expectation.dc_limits_v() if self.expectation else None
        return "" if limits is None else print_span(*limits, "V")

    @property
    def vpp(self) -> str:
        """Peak to peak of the signal; empty for a steady voltage."""
        expectation = self.expectation
        if expectation is None or expectation.waveform is None or not has_picture(expectation):
            return ""
        return print_value(expectation.waveform.vpp_v, "Vpp")

    @property
    def frequency(self) -> str:
        """Frequency of the signal to three digits."""
        waveform = self.expectation.waveform if self.expectation and self.vpp else None
        return "" if waveform is None else print_value(waveform.frequency_hz, "Hz")

    @cached_property
    def picture(self) -> str:
        """Two periods of the signal as SVG; a level line for a steady voltage."""
        return draw_small_picture(self.expectation)


@dataclass(frozen=True)
class PinRow:
    """A line of the table; ``cells`` follow the conditions of the table."""

    pin: Pin
    group: str
    """The part of the set that the pin serves."""
    cells: tuple[PinCell, ...]
    may_probe: bool
    shops_read: str = ""
    """The DC read on good sets, where it differs from the chip file's."""

    @property
    def role_words(self) -> str:
        """The role in words."""
        return ROLE_WORDS[self.pin.role]

    @property
    def haystack(self) -> str:
        """All words by which the line is found, in small letters, each after a space."""
        pin = self.pin
        words = (str(pin.number), pin.symbol, pin.function, self.role_words, self.group)
        return f" {' '.join(words)}".casefold()

    def fits(self, words: str = "", role: str = "", group: str = "") -> bool:
        """Return whether the line has every word, and the role and group where they are given."""
        return (
            all(f" {word}" in self.haystack for word in words.casefold().split())
            and role in ("", self.pin.role)
            and group in ("", self.group)
        )


@dataclass(frozen=True)
class PinTable:
    """The lines of a chip's table of pins, by number, and the ways to filter them."""

    conditions: tuple[str, ...]
    """States of the set, that with most signals first."""
    rows: tuple[PinRow, ...]

    @property
    def roles(self) -> dict[str, str]:
        """Roles that occur, with their words."""
        present = {row.pin.role for row in self.rows}
        return {role: words for role, words in ROLE_WORDS.items() if role in present}

    @property
    def groups(self) -> tuple[str, ...]:
        """Groups that occur, in the order of a page."""
        present = {row.group for row in self.rows}
        return tuple(group for group in GROUPS if group in present)


def build_pin_table(chip: Chip, notes: Iterable[Note] = ()) -> PinTable:
    """Return the table of a chip's pins; ``notes`` of good sets are compared with the chip file."""
    conditions = order_conditions(chip)
    groups = group_pins(chip)
    good = [note for note in notes if note.kind == "known-good reading"]
    return PinTable(
        conditions, tuple(_build_row(chip, pin, conditions, groups, good) for pin in chip.pins)
    )


def order_conditions(chip: Chip) -> tuple[str, ...]:
    """Return the conditions with columns of their own, that with most signals first."""
    signal_count = Counter(
        expectation.condition
        for pin in chip.pins
        for expectation in pin.expectations
        if has_picture(expectation)
    )
    # Of conditions with as many signals, that with colour bars is the one technicians set up.
    liveliest_first = sorted(
        choose_conditions(chip), key=lambda name: (-signal_count[name], "bars" not in name)
    )
    return tuple(liveliest_first[:MOST_CONDITIONS])


def _build_row(
    chip: Chip,
    pin: Pin,
    conditions: tuple[str, ...],
    groups: dict[int, str],
    good: list[Note],
) -> PinRow:
    """Return the line of a pin; ``groups`` are by pin number, ``good`` notes of good sets."""
    by_condition = {expectation.condition: expectation for expectation in pin.expectations}
    return PinRow(
        pin=pin,
        group=groups[pin.number],
        cells=tuple(PinCell(by_condition.get(name)) for name in conditions),
        may_probe=may_probe(chip, f"pin {pin.number}"),
        shops_read=_find_disagreement(pin, by_condition, conditions, good),
    )


def _find_disagreement(
    pin: Pin,
    by_condition: dict[str, Expectation],
    conditions: tuple[str, ...],
    good: list[Note],
) -> str:
    """Return the DC that good sets read in the first condition, where the chip file is wrong."""
    pin_notes = [note for note in good if note.at == f"pin {pin.number}"]
    expectation = by_condition.get(conditions[0]) if conditions else None
    if not pin_notes or expectation is None:
        return ""
    comparisons = compare_with_catalogue(pin, expectation, pin_notes)
    # A correction is proposed only where shops together surely contradict the limits.
    return next((pair.observed.value_words for pair in comparisons if pair.correction), "")
