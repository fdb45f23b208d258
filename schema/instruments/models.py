"""Models of meters, probes, oscilloscopes and testers, by their effect on a measurement."""

import math
from typing import Annotated, Any, Final, Literal, NamedTuple, Self, TypeVar

from pydantic import Field, field_validator, model_validator
from pydantic_core import PydanticCustomError

from ..errors import Unknown
from ..model import Model, Text, Whole, Word
from ..quantities import UNITS, Quantity
from ..quantities.fields import Capacitance, Duration, Frequency, Percent, Resistance, Voltage

# Full scales of a pointer meter in each power of ten. Common practice.
_RANGES: Final = (1.0, 2.5, 5.0)
_LOWEST_FULL_SCALE_V: Final = 0.1
_FINEST_STEP_V: Final = 1e-4  # one count of an ordinary meter on its lowest range, 200 mV
_ROUNDING: Final = 1e-9  # a display of 2000 counts shows 2.000 V as well as anybody can tell


Number = Annotated[Whole, Field(ge=1, le=10**9)]


class Instrument(Model):
    """Base of every instrument: a name, a description, and figures above zero."""

    name: Word
    """Name to choose it by."""
    describes: Text
    """Kind of instrument, in words."""

    @field_validator("*")
    @classmethod
    def _check_above_zero(cls, value: Any) -> Any:
        """Refuse a quantity of zero or less; an error in percent may be zero."""
        if not isinstance(value, Quantity) or value.nominal > 0:
            return value
        if value.unit == "%" and value.nominal == 0:
            return value
        called, example = UNITS[value.unit]
        raise PydanticCustomError(
            "quantity",
            "expected {expected}; write '{write}'",
            {"found": str(value), "expected": f"{called} above zero", "write": example},
        )


class Meter(Instrument):
    """A voltmeter and ohmmeter.

    A digital one is good to a percentage of the reading and some counts of the last digit; a
    pointer one to a percentage of full scale, and its input resistance goes with the range.
    """

    input_resistance: Resistance | None = None
    """Input resistance of a digital meter on DC volts."""
    ohms_per_volt: Resistance | None = None
    """Input resistance of a pointer meter, for each volt of full scale."""
    dc_percent: Percent
    """DC accuracy: percent of the reading, or of full scale for a pointer meter."""
    dc_counts: Annotated[Whole, Field(ge=0, le=10**9)] = 0
    """Counts of the last digit to add, for a digital meter."""
    counts: Number = 2000
    """Counts of the display: 2000 shows up to 1999."""
    ohms_percent: Percent
    """Accuracy of resistance: percent of the reading."""
    ac_bandwidth: Frequency
    """Highest frequency that its AC ranges still read."""
    ac_percent: Percent
    """Accuracy of its AC ranges: percent of the reading."""

    @model_validator(mode="after")
    def _check_input(self) -> Self:
        """Raise ValueError unless exactly one form of input resistance is given."""
        if (self.input_resistance is None) == (self.ohms_per_volt is None):
            raise ValueError("a meter loads in one way; give input_resistance or ohms_per_volt")
        return self

    def find_input_ohm(self, dc_v: float) -> float:
        """Return the input resistance on the range that fits ``dc_v`` best."""
        if self.input_resistance is not None:
            return self.input_resistance.nominal
        assert self.ohms_per_volt is not None  # the model ensures it
        return self.ohms_per_volt.nominal * find_full_scale(dc_v)

    def compute_dc_half_width_v(self, dc_v: float) -> float:
        """Return the largest error of a DC reading, in volts, by the meter's own specification."""
        share = self.dc_percent.nominal / 100
        if self.input_resistance is None:
            return share * find_full_scale(dc_v)
        return share * abs(dc_v) + self.dc_counts * self.find_step_v(dc_v)

    def find_step_v(self, dc_v: float) -> float:
        """Return the volts of one count on the range that shows ``dc_v`` with most digits."""
        least_step_v = abs(dc_v) / self.counts
        if least_step_v <= _FINEST_STEP_V:
            return _FINEST_STEP_V
        return 10.0 ** math.ceil(math.log10(least_step_v) - _ROUNDING)


class Probe(Instrument):
    """A probe with the oscilloscope's input behind it, as the circuit sees it at the tip."""

    factor: Annotated[Whole, Field(ge=1, le=10_000)]
    """Attenuation: 1, 10, 100."""
    resistance: Resistance
    """Resistance at the tip."""
    capacitance: Capacitance
    """Capacitance at the tip."""
    bandwidth: Frequency
    """Bandwidth of the probe alone."""
    rating: Voltage
    """Highest peak voltage at the tip."""
    derated_from: Frequency
    """Above this frequency the rating falls in proportion to it."""


class Scope(Instrument):
    """An oscilloscope, analogue or digitising."""

    sort: Literal["analogue", "digitising"]
    """How it makes its picture."""
    bandwidth: Frequency
    """Bandwidth at the input, 3 dB down."""
    input_resistance: Resistance
    """Input resistance."""
    input_capacitance: Capacitance
    """Input capacitance."""
    rating: Voltage
    """Highest peak voltage at the input."""
    bits: Annotated[Whole, Field(ge=1, le=32)] | None = None
    """Resolution of a digitising one."""
    sample_rate: Frequency | None = None
    """Highest sample rate of a digitising one, in samples per second (written in Hz)."""
    record_length: Number | None = None
    """Samples of a digitising one across the screen."""
    fastest: Duration
    """Fastest time per division."""
    gain_percent: Percent
    """Accuracy of volts per division."""
    timebase_percent: Percent
    """Accuracy of time per division."""

    @model_validator(mode="after")
    def _check_sampling(self) -> Self:
        """Raise ValueError for a digitising oscilloscope without its sampling figures."""
        given = (self.bits, self.sample_rate, self.record_length)
        if self.sort == "digitising" and None in given:
            raise ValueError(
                "a digitising scope needs bits, sample_rate and record_length; add them"
            )
        return self


class Counter(Instrument):
    """A frequency counter, connected through the probe."""

    timebase_percent: Percent
    """Accuracy of its timebase."""


class ComponentTester(Instrument):
    """A small AC source behind a resistance, and the figure of current over voltage."""

    open_voltage: Voltage
    """Open-circuit voltage, RMS."""
    source_resistance: Resistance
    """Resistance in series with the source."""
    frequency: Frequency
    """Frequency of the source, as a rule that of the mains."""


class Instruments(NamedTuple):
    """The meter, probe, oscilloscope and counter of one measurement."""

    meter: Meter
    probe: Probe
    scope: Scope
    counter: Counter | None = None
    """None where frequencies are read from the screen."""
    is_typed_in_full: bool = True
    """Whether readings are typed with all digits shown; else half of the last digit typed is added
    to the uncertainty of each."""

    @property
    def bandwidth_hz(self) -> float:
        """Bandwidth of probe and oscilloscope together (rise times add as root sum of squares)."""
        parts = (self.probe.bandwidth.nominal, self.scope.bandwidth.nominal)
        return 1 / math.sqrt(sum(1 / hz**2 for hz in parts))


class UnknownInstrument(Unknown):
    """No instrument of this name; the message names those there are."""


class KnownInstruments(NamedTuple):
    """The instruments that can be chosen, by name."""

    meters: dict[str, Meter]
    probes: dict[str, Probe]
    scopes: dict[str, Scope]
    counters: dict[str, Counter]
    testers: dict[str, ComponentTester]

    def choose(
        self,
        meter: str | None = None,
        probe: str | None = None,
        scope: str | None = None,
        counter: str | None = None,
    ) -> Instruments:
        """Return the named instruments; the first of each kind if none is named, but no counter.

        Raises UnknownInstrument.
        """
        return Instruments(
            _choose_named(self.meters, meter, "meter"),
            _choose_named(self.probes, probe, "probe"),
            _choose_named(self.scopes, scope, "scope"),
            _choose_named(self.counters, counter, "counter") if counter else None,
        )

    def choose_tester(self, name: str) -> ComponentTester:
        """Return the component tester of this name; raise UnknownInstrument."""
        return _choose_named(self.testers, name, "component tester")


Sort = TypeVar("Sort", Meter, Probe, Scope, Counter, ComponentTester)


def _choose_named(known: dict[str, Sort], name: str | None, noun: str) -> Sort:
    """Return the instrument of this name in any case; raise UnknownInstrument."""
    if name is None or not name.strip():
        return next(iter(known.values()))
    wanted = name.strip().casefold()
    for key, instrument in known.items():
        if key.casefold() == wanted:
            return instrument
    raise UnknownInstrument(f"no {noun} {name!r}; there are: {', '.join(known)}")


def find_full_scale(dc_v: float) -> float:
    """Return the full scale, in volts, of the best pointer range: 1, 2.5, 5, 10 ..."""
    least = max(abs(dc_v), _LOWEST_FULL_SCALE_V)
    power = 10.0 ** math.floor(math.log10(least))
    scales = [digit * power for digit in (*_RANGES, 10.0)]
    return next(scale for scale in scales if scale >= least * (1 - _ROUNDING))
