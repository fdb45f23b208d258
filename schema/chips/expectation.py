"""Expected DC, waveform and resistance of a pin or node, in one condition of the set."""

from typing import Final, Self

from pydantic import model_validator

from ..model import Model, Text, Word
from ..quantities.fields import Resistance, Voltage
from ..waveforms import AnyWaveform, Samples
from .sources import SourceReference

# Taken when a source gives a typical value alone, and shown as assumed. Common practice.
ASSUMED_DC_PERCENT: Final = 10.0
ASSUMED_WAVEFORM_PERCENT: Final = 20.0
ASSUMED_RESISTANCE_PERCENT: Final = 30.0


class Condition(Model):
    """A state of the set in which expectations hold."""

    name: Word
    """Short name: off, standby, no signal, colour bars."""
    means: Text
    """How to bring the set into this state."""


class ResistanceToGround(Model):
    """Ohmmeter readings from pin to ground with the set off, in both meter polarities."""

    red_on_pin: Resistance | None = None
    """Red (positive) lead on the pin, black on ground."""
    black_on_pin: Resistance | None = None
    """Black (negative) lead on the pin, red on ground."""

    @model_validator(mode="after")
    def _check_given(self) -> Self:
        """Raise ValueError if no value is given."""
        if self.red_on_pin is None and self.black_on_pin is None:
            raise ValueError("the resistance is empty; give red_on_pin, black_on_pin or both")
        return self


class Expectation(Model):
    """DC voltage, waveform and resistance in one condition, with their source.

    A waveform that floats (see ``Waveform.floats``) sits with its mean on the DC voltage.
    """

    condition: Word
    """Name of one of the chip's conditions."""
    dc: Voltage | None = None
    """DC voltage to ground, as a meter reads it."""
    waveform: AnyWaveform | None = None
    """Signal to be seen with an oscilloscope."""
    resistance: ResistanceToGround | None = None
    """Resistance to ground."""
    source: SourceReference
    """Where these values come from."""
    beyond_supply: Text | None = None
    """Why the pin may go beyond its supply, where it does."""
    note: Text | None = None
    """A remark on these values."""

    @model_validator(mode="after")
    def _check_given(self) -> Self:
        """Raise ValueError if no value is given."""
        if self.dc is None and self.waveform is None and self.resistance is None:
            raise ValueError("the expectation is empty; give dc, waveform or resistance")
        return self

    @property
    def offset_v(self) -> float:
        """Volts to add to the waveform so that it sits where it is on the pin."""
        if self.waveform is None or not self.waveform.floats or self.dc is None:
            return 0.0
        return self.dc.nominal - self.waveform.figures.mean_v

    def volts(self, t_s: Samples) -> Samples:
        """Return volts to ground at the times ``t_s`` (seconds), same shape."""
        import numpy as np

        if self.waveform is None:
            level = self.dc.nominal if self.dc is not None else 0.0
            return np.full(np.shape(t_s), level)
        return self.waveform.volts(t_s) + self.offset_v

    def dc_limits_v(self) -> tuple[float, float] | None:
        """Return the lowest and highest good DC reading, stated or assumed; None without DC."""
        return None if self.dc is None else self.dc.limits(ASSUMED_DC_PERCENT)
