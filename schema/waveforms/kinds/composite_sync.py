"""Composite sync: line pulses, and the equalising and broad pulses around field sync.

It floats: blanking is 0 V in ``volts``. t = 0 is the leading edge of the first broad pulse of the
first field. Source: Recommendation ITU-R BT.470-6, structure of the field blanking interval.
"""

from collections.abc import Iterator
from functools import cached_property
from typing import ClassVar, Literal

from ...quantities import print_value
from ..base import Example, PositivePeakToPeak
from ..corners import Change, Corners
from ..line_rate import FieldRate
from ..straight import Straight


class CompositeSync(Straight, FieldRate):
    """Sync of two interlaced fields; pulses are counted in half lines."""

    kind: Literal["composite sync"]
    example: ClassVar[Example] = {"system": "PAL-B/G", "vpp": "4 Vpp"}
    vpp: PositivePeakToPeak
    """Peak-to-peak amplitude."""
    sync: Literal["down", "up"] = "down"
    """Which way the pulses point."""

    @property
    def period_s(self) -> float:
        """One frame: two fields, half a line apart."""
        return 2 * self.field_s

    @property
    def frequency_hz(self) -> float:
        """The line frequency, which a counter reads."""
        return float(self.scanning.line_hz)

    def pulses(self) -> Iterator[tuple[int, float]]:
        """Yield each pulse of one frame: the half line it starts at, and its width in seconds.

        A field starts at half line 0 and, since the lines are odd in number, at half line
        ``lines``, the middle of a line.
        """
        timing, lines = self.timing, self.scanning.lines
        for half_line in range(2 * lines):
            after = half_line % lines
            if after < timing.group:
                yield half_line, timing.broad_s
            elif after < 2 * timing.group or after >= lines - timing.group:
                yield half_line, timing.equalising_s
            elif half_line % 2 == 0:
                yield half_line, timing.sync_s

    @cached_property
    def corners(self) -> Corners:
        """Down and up again for each pulse of the frame."""
        tip_v = self.vpp.nominal * (-1 if self.sync == "down" else 1)
        rise_s = self.timing.sync_rise_s
        changes: list[Change] = []
        for half_line, width_s in self.pulses():
            start_s = half_line * self.line_s / 2
            changes += [Change(start_s, tip_v, rise_s), Change(start_s + width_s, 0.0, rise_s)]
        return Corners.from_steps(self.period_s, changes)

    def describe(self) -> str:
        """Return system, amplitude, direction and rates in words."""
        return (
            f"{self.system} composite sync of {print_value(self.vpp.nominal, 'Vpp')}, pulses "
            f"{self.sync}: lines at {self.line_rate}, field sync at "
            f"{print_value(float(self.scanning.field_hz), 'Hz', 4)}."
        )
