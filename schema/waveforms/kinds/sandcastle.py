"""The sandcastle pulse: burst key on line blanking on field blanking, separated by level.

Against ground. t = 0 is 0H of a line in the middle of the picture; field blanking comes later.
Line blanking and field blanking are the system's; the burst key is 4 µs wide and starts 0.4 µs
before the burst (common practice, from memory).
"""

from functools import cached_property
from typing import ClassVar, Final, Literal, Self

from pydantic import model_validator

from ...quantities import Quantity, parse_quantity, print_value
from ...quantities.fields import Voltage
from ..base import Example, Samples, refusal
from ..corners import WHOLE_EDGE, Change, Corners
from ..line_rate import LineRate

_KEY_LEAD_S: Final = 0.4e-6
_KEY_S: Final = 4e-6
_RISE_S: Final = 0.2e-6


class Sandcastle(LineRate):
    """Two or three levels, stacked; without ``field_blanking`` it is the two-level pulse."""

    floats: ClassVar[bool] = False
    kind: Literal["sandcastle"]
    example: ClassVar[Example] = {
        "system": "PAL-B/G",
        "burst_key": "8 V",
        "line_blanking": "4.5 V",
        "field_blanking": "2.5 V",
    }
    burst_key: Voltage
    """Level of the burst key, the highest."""
    line_blanking: Voltage
    """Level of line blanking."""
    field_blanking: Voltage | None = None
    """Level of field blanking; left out for a two-level pulse."""
    base: Voltage = parse_quantity("0 V", "V")
    """Level during the picture."""

    @model_validator(mode="after")
    def _check_order(self) -> Self:
        """Raise for levels that do not rise from base to burst key."""
        names = ("base", "field_blanking", "line_blanking", "burst_key")
        given: dict[str, Quantity] = {
            name: level for name in names if (level := getattr(self, name)) is not None
        }
        volts = [level.nominal for level in given.values()]
        if volts != sorted(set(volts)):
            ordered = sorted(given.values(), key=_find_volts)
            raise refusal(
                ", ".join(f"{name} {level}" for name, level in given.items()),
                f"different levels, rising in the order {', '.join(given)}",
                ", ".join(f"{name}: {level}" for name, level in zip(given, ordered, strict=True)),
            )
        return self

    @property
    def _field_level_v(self) -> float:
        return _find_volts(self.field_blanking or self.base)

    @cached_property
    def _line(self) -> Corners:
        """Return one line: blanking with the burst key on it."""
        timing = self.timing
        key_s = timing.burst_start_s - _KEY_LEAD_S
        # PAL-M has its burst so late that a whole key would run into the picture.
        end_s = min(key_s + _KEY_S, timing.picture_start_s - WHOLE_EDGE * _RISE_S)
        return Corners.from_steps(
            self.line_s,
            (
                Change(-timing.front_porch_s, _find_volts(self.line_blanking), _RISE_S),
                Change(key_s, _find_volts(self.burst_key), _RISE_S),
                Change(end_s, _find_volts(self.line_blanking), _RISE_S),
                Change(timing.picture_start_s, _find_volts(self.base), _RISE_S),
            ),
        )

    @cached_property
    def _field(self) -> Corners:
        """The level that field blanking lifts the signal to at least."""
        start_s = self.scanning.lines // 4 * self.line_s
        end_s = start_s + self.timing.field_blanking_lines * self.line_s
        up, down = Change(start_s, self._field_level_v), Change(end_s, _find_volts(self.base))
        return Corners.from_steps(self.field_s, (up, down))

    def volts(self, t_s: Samples) -> Samples:
        """Return volts to ground."""
        import numpy as np

        return np.maximum(self._line(t_s), self._field(t_s))

    @property
    def period_s(self) -> float:
        """One line of a two-level pulse; one frame, two interlaced fields, of a three-level one."""
        return self.line_s if self.field_blanking is None else 2 * self.field_s

    @property
    def frequency_hz(self) -> float:
        """The line frequency."""
        return float(self.scanning.line_hz)

    @cached_property
    def extremes_v(self) -> tuple[float, float, float]:
        """Base, burst key, and the mean with field blanking taking its share of the time."""
        share = self.timing.field_blanking_lines * self.line_s / self.field_s
        blanked_v = self._line.compute_mean_above(self._field_level_v)
        mean_v = (1 - share) * self._line.mean_v + share * blanked_v
        return _find_volts(self.base), _find_volts(self.burst_key), mean_v

    @property
    def trigger(self) -> str:
        """The burst key is the highest part."""
        return "the signal itself, rising edge, level above line blanking"

    def describe(self) -> str:
        """Return the levels in words."""
        field = (
            f", field blanking {print_value(self.field_blanking.nominal, 'V')}"
            if self.field_blanking is not None
            else ""
        )
        return (
            f"{'Two' if self.field_blanking is None else 'Three'}-level sandcastle pulse, "
            f"{self.system}: burst key {print_value(_find_volts(self.burst_key), 'V')},"
            f" line blanking {print_value(_find_volts(self.line_blanking), 'V')}{field}, "
            f"base {print_value(_find_volts(self.base), 'V')}, lines at {self.line_rate}."
        )


def _find_volts(level: Quantity) -> float:
    return level.nominal
