"""Characteristics that a data sheet states: levels of a waveform, thresholds, amplitudes, currents.

They are no readings of a pin: "sandcastle burst key level, 7.2 / 8 / 8.8 V at pin 9" is a level of
the waveform, and the meter shows its mean.
"""

from typing import Annotated, Self

from pydantic import model_validator

from ..model import Listed, Model, Text, Whole, Word
from ..quantities.fields import AnyQuantity
from .sources import SourceReference


class Parameter(Model):
    """A characteristic of some pins, of a supply, or of the whole chip, with its limits."""

    name: Text
    """Name in the data sheet: sandcastle burst key level."""
    symbol: Word | None = None
    """Symbol in the data sheet: V9-1, fOSC."""
    pins: Annotated[tuple[Whole, ...], Listed] = ()
    """Pins it is stated for; left out for a supply and for the whole chip."""
    supply: Word | None = None
    """Name of the supply it is stated for."""
    value: AnyQuantity
    """Minimum, typical and maximum, as far as stated, each with its unit."""
    test_condition: Text | None = None
    """What it is measured with, as the data sheet puts it: VP = 8 V, no load."""
    source: SourceReference
    """Where it is read."""
    note: Text | None = None
    """A remark, such as the text of its footnote."""

    @model_validator(mode="after")
    def _check_place(self) -> Self:
        """Raise ValueError for a parameter of pins and of a supply at once."""
        if self.pins and self.supply is not None:
            raise ValueError("the parameter has pins and a supply; leave one of the two out")
        return self
