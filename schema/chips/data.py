"""The data of a chip: every key of a chip file, before the whole-chip rules."""

from functools import cached_property
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from ..model import Endpoint, Listed, Model, Text, Whole, Word, YesNo
from ..quantities.fields import Capacitance, Current, Resistance, Voltage
from ..systems import System
from ..vocabulary import Kind, Role
from .application import Application, Block, Hazard
from .expectation import Condition, Expectation
from .package import Package
from .parameter import Parameter
from .sources import Source
from .symptom import Symptom


class Supply(Model):
    """A supply of the chip and the pins it enters at."""

    name: Word
    """Name in the data sheet: VCC1, VP."""
    pins: Annotated[tuple[Whole, ...], Listed]
    """Pins the supply enters at."""
    voltage: Voltage
    """Nominal voltage with its limits."""
    current: Current | None = None
    """Current drawn."""


class Relation(Model):
    """Another chip that this one can replace, or resembles."""

    part: Word
    """Part number of the other chip."""
    note: Text | None = None
    """The differences."""


class OutputLimits(Model):
    """The voltages between which an output can drive, unloaded, as the data sheet gives them."""

    low: Voltage | None = None
    """Lowest voltage: the saturation voltage of what pulls it down."""
    high: Voltage | None = None
    """Highest voltage: the supply less what the stage keeps."""

    @model_validator(mode="after")
    def _check_order(self) -> Self:
        """Raise ValueError if no limit is given, or if they are in the wrong order."""
        if self.low is None and self.high is None:
            raise ValueError("the output limits are empty; give low, high or both")
        if self.low and self.high and self.low.nominal >= self.high.nominal:
            raise ValueError(
                f"the output limits run from {self.low} to {self.high}; write the lower one as low"
            )
        return self


class Pin(Model):
    """One pin: its name, its function, and the expectations of it."""

    number: Whole
    """Pin number."""
    symbol: Word
    """Short name from the data sheet's pin table; only grounds, supplies and unused pins share."""
    function: Text
    """Function of the pin, in the trade's words."""
    role: Role
    """Role of the pin."""
    absolute_maximum: Voltage | None = None
    """Voltage that must never be exceeded."""
    resistance: Resistance | None = None
    """Approximate source resistance of an output, input resistance of an input."""
    capacitance: Capacitance | None = None
    """Approximate capacitance to ground."""
    supply: Endpoint | None = None
    """Supply pin that its stages live on, where the block diagram does not tell."""
    threshold: Voltage | None = None
    """Voltage at which what it steers switches over."""
    output_limits: OutputLimits | None = None
    """Of an output: the voltages that it cannot go beyond, whatever drives its stage."""
    expectations: Annotated[tuple[Expectation, ...], Listed] = ()
    """Expected DC, waveform and resistance, condition by condition."""

    def expectation(self, condition: str) -> Expectation | None:
        """Return the expectation of the pin in the named condition, or None."""
        return next((e for e in self.expectations if e.condition == condition), None)


class ChipData(Model):
    """The fields of ``Chip``, for the rules to check; each field is valid by itself."""

    file_format: Literal["pinfolio chip 1"] = "pinfolio chip 1"
    """Format of the chip file."""
    part: Word
    """Part number."""
    maker: Word
    """Who makes or made it."""
    kind: Kind
    """Function of the chip in the set."""
    summary: Text
    """The chip in a sentence or two."""
    invented: YesNo = False
    """Yes when the chip does not exist and serves as an example."""
    systems: Annotated[tuple[System, ...], Listed] = ()
    """Television systems it works with, named as in Recommendation ITU-R BT.470."""
    package: Package
    """Package."""
    markings: Annotated[tuple[Word, ...], Listed] = ()
    """Other texts printed on the package: suffixes, house numbers."""
    replaces: Annotated[tuple[Relation, ...], Listed] = ()
    """Chips that this one can replace."""
    similar: Annotated[tuple[Relation, ...], Listed] = ()
    """Chips that are much alike but do not fit without changes."""
    supplies: Annotated[tuple[Supply, ...], Listed] = Field(min_length=1)
    """Supplies and where they enter."""
    sources: Annotated[tuple[Source, ...], Listed] = Field(min_length=1)
    """Where the values come from."""
    conditions: Annotated[tuple[Condition, ...], Listed] = Field(min_length=1)
    """States of the set that the expectations refer to."""
    hazards: Annotated[tuple[Hazard, ...], Listed] = ()
    """Dangers when working at this chip."""
    symptoms: Annotated[tuple[Symptom, ...], Listed] = ()
    """Symptoms of faults at this chip, in addition to the general list."""
    blocks: Annotated[tuple[Block, ...], Listed] = ()
    """Stages inside the chip."""
    application: Application = Application.model_construct()
    """Parts around the chip."""
    parameters: Annotated[tuple[Parameter, ...], Listed] = ()
    """Characteristics from the data sheet that are no readings: levels, thresholds, currents."""
    pins: Annotated[tuple[Pin, ...], Listed] = Field(min_length=1)
    """The pins, in the order of their numbers."""

    def pin(self, name: str | int) -> Pin | None:
        """Return the pin of this number, else the first of this symbol in any case, or None."""
        return self._pin_of_name.get(str(name).strip().upper())

    def list_parameters(self, pin: Pin) -> tuple[Parameter, ...]:
        """Return the parameters stated for a pin, and for the supplies that enter at it."""
        supplies = {supply.name for supply in self.supplies if pin.number in supply.pins}
        return tuple(p for p in self.parameters if pin.number in p.pins or p.supply in supplies)

    @cached_property
    def _pin_of_name(self) -> dict[str, Pin]:
        """The pins by number and by symbol in capitals; a number goes before a symbol."""
        pins = {pin.symbol.upper(): pin for pin in reversed(self.pins)}
        return pins | {str(pin.number): pin for pin in self.pins}

    @cached_property
    def supply_range_v(self) -> tuple[float, float]:
        """Ground or the lowest negative supply, and the highest supply, tolerances included."""
        limits_v = [volts for supply in self.supplies for volts in supply.voltage.limits(0)]
        return min(0.0, *limits_v), max(0.0, *limits_v)

    def document(self) -> str:
        """Return the chip as JSON in its one spelling: fields in model order, no defaults."""
        return self._document

    @cached_property
    def _document(self) -> str:
        """The chip as JSON; a hunt asks for its boards by it at every step."""
        return self.model_dump_json(exclude_defaults=True)
