"""Clock and data of a two-wire control bus while it is being talked on.

Against ground. A message of three bytes, each with its acknowledge bit, then a pause: data falls
while the clock is high to start, changes only while the clock is low, and rises while the clock is
high to stop (I2C-bus specification, NXP UM10204). The bits are an example.
"""

from collections.abc import Iterator
from functools import cached_property
from typing import ClassVar, Final, Literal, Self

from pydantic import model_validator

from ...quantities import print_value
from ...quantities.fields import Voltage
from ..base import Example, PositiveFrequency, check_rising
from ..corners import Change, Corners
from ..straight import Straight

# Three bytes, the highest bit first, each followed by its acknowledge (low).
_BITS: Final = "100010100000001010101101100"
_MESSAGE_CLOCKS: Final = 40
_RISE: Final = 0.05  # of a clock period: pulled up by a resistor; from memory


class BusActivity(Straight):
    """One wire of a two-wire bus; t = 0 is the start of a message."""

    floats: ClassVar[bool] = False
    kind: Literal["bus activity"]
    example: ClassVar[Example] = {"low": "0 V", "high": "5 V", "clock": "100 kHz", "line": "clock"}
    low: Voltage
    """Level of a low bit."""
    high: Voltage
    """Level of a high bit, and of the resting bus."""
    clock: PositiveFrequency
    """Clock frequency during a message."""
    line: Literal["clock", "data"]
    """Which of the two wires."""

    @model_validator(mode="after")
    def _check_levels(self) -> Self:
        check_rising(self.low, self.high)
        return self

    @cached_property
    def corners(self) -> Corners:
        """One message and the pause after it."""
        clock_s = 1 / self.clock.nominal
        steps = _build_clock_steps() if self.line == "clock" else _build_data_steps()
        level_v = {False: self.low.nominal, True: self.high.nominal}
        changes = (Change(at * clock_s, level_v[up], _RISE * clock_s) for at, up in steps)
        return Corners.from_steps(_MESSAGE_CLOCKS * clock_s, changes)

    @property
    def frequency_hz(self) -> float:
        """The clock frequency."""
        return self.clock.nominal

    @property
    def rest_v(self) -> float:
        """The high level: both wires are pulled up."""
        return self.high.nominal

    @property
    def view_s(self) -> float:
        """One message."""
        return self.period_s

    @property
    def trigger(self) -> str:
        """The bus rests high."""
        return "the signal itself, falling edge, normal (not automatic) sweep"

    def describe(self) -> str:
        """Return wire, levels and clock in words."""
        return (
            f"Bus {self.line} line in bursts between {print_value(self.low.nominal, 'V')} and "
            f"{print_value(self.high.nominal, 'V')}, clock {self.clock}, high at rest; "
            f"the pattern changes with the data."
        )


def _build_clock_steps() -> Iterator[tuple[float, bool]]:
    """Yield clock changes: low for half a clock before each bit and before stop."""
    for bit in range(len(_BITS) + 1):
        yield bit + 0.5, False
        yield bit + 1.0, True


def _build_data_steps() -> Iterator[tuple[float, bool]]:
    """Yield data changes: down to start, at mid clock low between bits, up to stop."""
    yield 0.0, False
    for bit, digit in enumerate(_BITS):
        yield bit + 0.75, digit == "1"
    yield len(_BITS) + 0.75, False
    yield len(_BITS) + 1.25, True
