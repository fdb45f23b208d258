"""The base of every waveform: a stored description that computes volts.

A kind of waveform is one frozen model with a literal ``kind``; it computes ``volts`` at given
times and knows its period, and from these the base class finds peak to peak and mean.
"""

from functools import cached_property, lru_cache
from typing import (
    TYPE_CHECKING,
    Annotated,
    Any,
    ClassVar,
    Final,
    Literal,
    NamedTuple,
    TypeAlias,
    get_args,
    get_origin,
)

from pydantic import AfterValidator
from pydantic_core import PydanticCustomError

from ..model import Model
from ..quantities import UNITS, Quantity
from ..quantities.fields import Duration, Frequency, PeakToPeak

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Samples: TypeAlias = "NDArray[np.float64]"
"""Volts or seconds, one for each sample."""
Example = dict[str, Any]
"""Fields of a waveform as a chip file writes them, without ``kind``."""

_SAMPLES_A_PERIOD = 20_000


def refusal(found: str, expected: str, write: str) -> PydanticCustomError:
    """Return the error of an impossible waveform: found, expected, and the text to write."""
    return PydanticCustomError(
        "waveform",
        "{found}: expected {expected}; write '{write}'",
        {"found": found, "expected": expected, "write": write},
    )


def _check_more_than_zero(quantity: Quantity) -> Quantity:
    """Return the quantity; raise if it is not above zero."""
    if not quantity.nominal > 0:
        called, example = UNITS[quantity.unit]
        raise refusal(f"'{quantity}'", f"{called} above zero", example)
    return quantity


PositiveFrequency = Annotated[Frequency, AfterValidator(_check_more_than_zero)]
PositiveDuration = Annotated[Duration, AfterValidator(_check_more_than_zero)]
PositivePeakToPeak = Annotated[PeakToPeak, AfterValidator(_check_more_than_zero)]


def check_rising(low: Quantity, high: Quantity) -> None:
    """Refuse a high level that is not above the low one."""
    if low.nominal == high.nominal:
        raise refusal(f"low and high both {low}", "low below high", f"kind: steady, level: {low}")
    if low.nominal > high.nominal:
        raise refusal(f"low {low} and high {high}", "low below high", f"low: {high}, high: {low}")


class Figures(NamedTuple):
    """The figures that a waveform measures."""

    low_v: float
    high_v: float
    mean_v: float
    vpp_v: float
    frequency_hz: float


class Waveform(Model):
    """Base of all kinds.

    A kind is a subclass that sets a literal ``kind``, ``example``, ``volts``, ``period_s`` and
    ``describe``; it registers itself. A subclass without a literal ``kind`` is another base.
    """

    example: ClassVar[Example]
    """The fields of a typical waveform of this kind, written as in a chip file."""

    floats: ClassVar[bool] = True
    """True when only the shape is known, and its mean sits on the pin's DC voltage; False when
    ``volts`` is already measured against ground."""

    kind: str
    """Which kind of waveform this is."""

    @classmethod
    def __pydantic_init_subclass__(cls, **_: Any) -> None:
        """Register a class with a literal ``kind``; raise TypeError where it cannot be one."""
        annotation = cls.model_fields["kind"].annotation
        if get_origin(annotation) is not Literal:
            return
        (kind,) = get_args(annotation)
        if kind in REGISTERED_KINDS:
            raise TypeError(f"waveform kind {kind!r} is registered twice; rename one of the two")
        if "example" not in cls.__dict__:
            raise TypeError(f"waveform kind {kind!r} has no example; set one in {cls.__name__}")
        REGISTERED_KINDS[kind] = cls

    def volts(self, t_s: Samples) -> Samples:
        """Return volts at the times ``t_s`` (seconds), same shape."""
        raise NotImplementedError

    @property
    def period_s(self) -> float:
        """Time after which the signal repeats, in seconds; 0 for a steady level."""
        raise NotImplementedError

    @property
    def frequency_hz(self) -> float:
        """The frequency a technician would name for it; 0 for a steady level."""
        return 1 / self.period_s if self.period_s else 0.0

    @property
    def rest_v(self) -> float | None:
        """The level against ground between bursts, which a meter may show; None without any."""
        return None

    @property
    def fastest_hz(self) -> float:
        """The highest frequency that matters in it, which the picture must resolve."""
        return self.frequency_hz * 10

    @property
    def carrier_hz(self) -> float:
        """The frequency that coarse sampling would alias: the carrier, if there is one."""
        return self.frequency_hz

    @property
    def amplitude_hz(self) -> float:
        """The frequency of its peak-to-peak, at which loading and bandwidth reduce it."""
        return self.frequency_hz

    @property
    def parts_of_their_own(self) -> tuple[tuple[float, float], ...]:
        """Frequency in hertz and volts peak to peak of the sines in it that a roll-off may take
        away while most of its size is left: a burst, packets of a test signal."""
        return ()

    @property
    def view_s(self) -> float:
        """Time span that shows it well: two periods unless a kind sets another."""
        return 2 * self.period_s

    @property
    def trigger(self) -> str:
        """The trigger source and edge for the oscilloscope, in words."""
        return "the signal itself, rising edge"

    def describe(self) -> str:
        """Return the shape in one sentence, in the trade's words, with its main figures."""
        raise NotImplementedError

    @cached_property
    def extremes_v(self) -> tuple[float, float, float]:
        """Lowest, highest and mean volts over one period of ``volts``."""
        import numpy as np

        span = self.period_s or 1.0
        t_s = np.linspace(0.0, span, _SAMPLES_A_PERIOD, endpoint=False)
        v = self.volts(t_s)
        return float(v.min()), float(v.max()), float(v.mean())

    @cached_property
    def figures(self) -> Figures:
        """Extremes, mean, peak to peak and frequency, computed once for equal waveforms."""
        return _list_figures(self)

    @property
    def vpp_v(self) -> float:
        """Peak-to-peak volts."""
        low, high, _ = self.extremes_v
        return high - low

    @property
    def mean_v(self) -> float:
        """Mean of ``volts`` over one period."""
        return self.extremes_v[2]


REGISTERED_KINDS: Final[dict[str, type[Waveform]]] = {}
"""Every kind of waveform that has been imported, by the word that names it in a chip file."""


@lru_cache(maxsize=4096)  # a catalogue repeats the same few waveforms
def _list_figures(waveform: Waveform) -> Figures:
    return Figures(*waveform.extremes_v, waveform.vpp_v, waveform.frequency_hz)
