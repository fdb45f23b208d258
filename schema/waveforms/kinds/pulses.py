"""Pulses at line and at field rate, against ground: flyback, drive, gating, blanking pulses."""

from functools import cached_property
from typing import ClassVar, Literal, Self

from pydantic import model_validator

from ...quantities import parse_quantity, print_value
from ...quantities.fields import Duration, Voltage
from ..base import Example, PositiveDuration, check_rising, refusal
from ..corners import WHOLE_EDGE, Change, Corners
from ..line_rate import FieldRate, LineRate
from ..straight import Straight


class _OnePulse(Straight, LineRate):
    """One pulse each line or field, with edges as quick as sync has them."""

    floats: ClassVar[bool] = False
    low: Voltage
    """Lower level."""
    high: Voltage
    """Upper level."""
    width: PositiveDuration
    """Duration at half height."""
    polarity: Literal["positive", "negative"] = "positive"
    """Positive goes to the upper level during the pulse, negative to the lower."""

    @property
    def _repeat_s(self) -> float:
        raise NotImplementedError

    @property
    def _start_s(self) -> float:
        return 0.0

    @model_validator(mode="after")
    def _check_levels_and_width(self) -> Self:
        """Raise for equal or swapped levels, or a width without room for the edges."""
        check_rising(self.low, self.high)
        edge_s = self.timing.sync_rise_s * WHOLE_EDGE
        if not edge_s <= self.width.nominal <= self._repeat_s - edge_s:
            raise refusal(
                f"width {self.width}",
                f"from {print_value(edge_s, 's')} to {print_value(self._repeat_s - edge_s, 's')}",
                f"width: {print_value(self._repeat_s / 5, 's')}",
            )
        return self

    @cached_property
    def corners(self) -> Corners:
        """Out at the start, back after the width."""
        rest_v, pulse_v = self.low.nominal, self.high.nominal
        if self.polarity == "negative":
            rest_v, pulse_v = pulse_v, rest_v
        rise_s, start_s = self.timing.sync_rise_s, self._start_s % self._repeat_s
        out = Change(start_s, pulse_v, rise_s)
        back = Change(start_s + self.width.nominal, rest_v, rise_s)
        return Corners.from_steps(self._repeat_s, (out, back))

    @property
    def trigger(self) -> str:
        """The leading edge of the pulse."""
        edge = "rising" if self.polarity == "positive" else "falling"
        return f"the signal itself, {edge} edge"

    @property
    def _figures(self) -> str:
        way = "from low to high" if self.polarity == "positive" else "from high to low"
        return (
            f"{way} ({print_value(self.low.nominal, 'V')} and "
            f"{print_value(self.high.nominal, 'V')}), "
            f"{print_value(self.width.nominal, 's')} wide"
        )


class LinePulse(_OnePulse):
    """One pulse each line; t = 0 is 0H."""

    kind: Literal["line pulse"]
    example: ClassVar[Example] = {
        "system": "PAL-B/G",
        "low": "0 V",
        "high": "5 V",
        "width": "12 µs",
    }
    delay: Duration = parse_quantity("0 s", "s")
    """From 0H to the start of the pulse; negative when it starts before."""

    @model_validator(mode="after")
    def _check_delay(self) -> Self:
        """Raise for a delay of a line or more."""
        if not abs(self.delay.nominal) < self.line_s:
            line = print_value(self.line_s, "s")
            raise refusal(f"delay {self.delay}", f"less than a line of {line}", "delay: 0 s")
        return self

    @property
    def _repeat_s(self) -> float:
        return self.line_s

    @property
    def _start_s(self) -> float:
        return self.delay.nominal

    def describe(self) -> str:
        """Return levels, width, delay and rate in words."""
        late_s = self.delay.nominal
        side = "after" if late_s > 0 else "before"
        starts = f"{print_value(abs(late_s), 's')} {side} line sync" if late_s else "at line sync"
        return f"{self.system} line pulse {self._figures}, starting {starts}, at {self.line_rate}."


class FieldPulse(_OnePulse, FieldRate):
    """One pulse each field; t = 0 is its leading edge."""

    kind: Literal["field pulse"]
    example: ClassVar[Example] = {
        "system": "PAL-B/G",
        "low": "0 V",
        "high": "5 V",
        "width": "1.2 ms",
    }

    @property
    def _repeat_s(self) -> float:
        return self.field_s

    def describe(self) -> str:
        """Return levels, width and rate in words."""
        rate = print_value(self.frequency_hz, "Hz", 4)
        return f"{self.system} field pulse {self._figures}, at {rate}."
