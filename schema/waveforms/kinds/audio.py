"""Sound: a tone with its distortion, and noise. Both float about zero."""

from functools import cached_property, lru_cache
from typing import ClassVar, Final, Literal, Self

from pydantic import model_validator

from ...quantities import print_value
from ...quantities.fields import Percent
from ..base import Example, PositiveFrequency, PositivePeakToPeak, Samples, Waveform, refusal
from ..corners import Corners
from ..straight import Straight

_MOST_DISTORTION: Final = 25.0

# The noise is a sum of this many equal cosines, drawn with this many points to its fastest cycle.
_LINES: Final = 512
_POINTS_A_CYCLE: Final = 16
_SEED: Final = 1


class AudioTone(Waveform):
    """A test tone, v = vpp/2 (sin x - d cos 2x): one half rounder, the other sharper.

    A slightly bent (square-law) characteristic gives a sine such a second harmonic at a quarter
    cycle, d being its share of the fundamental. Up to 25 % leaves the peak to peak as it
    is and only moves both peaks by d vpp/2.
    """

    kind: Literal["audio tone"]
    example: ClassVar[Example] = {"frequency": "1 kHz", "vpp": "1.4 Vpp", "distortion": "2 %"}
    frequency: PositiveFrequency
    """Frequency of the tone."""
    vpp: PositivePeakToPeak
    """Peak-to-peak amplitude."""
    distortion: Percent | None = None
    """Second harmonic, of the fundamental; none when not given."""

    @model_validator(mode="after")
    def _check_distortion(self) -> Self:
        """Raise for more distortion than leaves the peak to peak unchanged."""
        if not 0 <= 100 * self._harmonic <= _MOST_DISTORTION:
            raise refusal(f"distortion {self.distortion}", "from 0 % to 25 %", "distortion: 1 %")
        return self

    @property
    def _harmonic(self) -> float:
        return self.distortion.nominal / 100 if self.distortion is not None else 0.0

    def volts(self, t_s: Samples) -> Samples:
        """Return volts about the mean."""
        import numpy as np

        x = 2 * np.pi * self.frequency.nominal * np.asarray(t_s)
        return np.asarray(self.vpp.nominal / 2 * (np.sin(x) - self._harmonic * np.cos(2 * x)))

    @property
    def period_s(self) -> float:
        """One cycle."""
        return 1 / self.frequency.nominal

    @property
    def fastest_hz(self) -> float:
        """The second harmonic."""
        return 2 * self.frequency.nominal

    @cached_property
    def extremes_v(self) -> tuple[float, float, float]:
        """The peak to peak, moved up by the harmonic; its mean is zero."""
        half_v = self.vpp.nominal / 2
        return half_v * (self._harmonic - 1), half_v * (self._harmonic + 1), 0.0

    def describe(self) -> str:
        """Return amplitude, frequency and distortion in words."""
        impure = (
            f", with {self.distortion} of second harmonic" if self.distortion is not None else ""
        )
        return (
            f"A tone of {print_value(self.vpp.nominal, 'Vpp')} at {self.frequency}, "
            f"a sine wave{impure}."
        )


class Noise(Straight):
    """Noise, equally strong at all frequencies up to its bandwidth.

    It is made of cosines with phases drawn by chance, once for all, so the same chip file always
    gives the same picture; that comes close to a Gaussian distribution (S. O. Rice, Mathematical
    Analysis of Random Noise, 1944). Only its amplitude and its bandwidth mean anything.
    """

    kind: Literal["noise"]
    example: ClassVar[Example] = {"vpp": "300 mVpp", "bandwidth": "15 kHz"}
    vpp: PositivePeakToPeak
    """Peak-to-peak amplitude, as an oscilloscope shows the band."""
    bandwidth: PositiveFrequency
    """Where it ends."""

    @cached_property
    def corners(self) -> Corners:
        """The noise drawn with short straight lines."""
        import numpy as np

        v = self.vpp.nominal * _make_unit_noise()
        period_s = _LINES / self.bandwidth.nominal
        return Corners(period_s, np.arange(len(v)) * (period_s / len(v)), v)

    @property
    def frequency_hz(self) -> float:
        """The bandwidth: noise has no frequency of its own."""
        return self.bandwidth.nominal

    @property
    def fastest_hz(self) -> float:
        """The bandwidth."""
        return self.bandwidth.nominal

    @property
    def view_s(self) -> float:
        """Less than the pattern takes to come again."""
        return self.period_s / 4

    @property
    def trigger(self) -> str:
        """Nothing to trigger on."""
        return "none needed: free-running sweep"

    def describe(self) -> str:
        """Return amplitude and bandwidth in words."""
        return (
            f"Noise, a band of {print_value(self.vpp.nominal, 'Vpp')} up to {self.bandwidth}, "
            f"without a pattern of its own."
        )


@lru_cache(maxsize=1)
def _make_unit_noise() -> Samples:
    """Return one period of noise of 1 Vpp with mean 0."""
    import numpy as np

    # numpy keeps the numbers of RandomState the same in every version (NEP 19).
    phases = np.random.RandomState(_SEED).uniform(0, 2 * np.pi, _LINES)
    spectrum = np.zeros(_LINES * _POINTS_A_CYCLE // 2 + 1, dtype=complex)
    spectrum[1 : _LINES + 1] = np.exp(1j * phases)
    noise = np.fft.irfft(spectrum)
    return np.asarray(noise / np.ptp(noise))
