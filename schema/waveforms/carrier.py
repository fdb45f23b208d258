"""The base of waveforms that are a carrier about zero."""

from functools import cached_property

from .base import PositivePeakToPeak, Waveform


class Carrier(Waveform):
    """Base of the kinds that are a carrier about zero, with a stated greatest peak to peak."""

    vpp: PositivePeakToPeak
    """Peak to peak where the carrier is strongest."""

    @property
    def frequency_hz(self) -> float:
        """The carrier."""
        return self.carrier_hz

    @property
    def fastest_hz(self) -> float:
        """The carrier."""
        return self.carrier_hz

    @cached_property
    def extremes_v(self) -> tuple[float, float, float]:
        """Half the peak to peak below and above zero."""
        return -self.vpp.nominal / 2, self.vpp.nominal / 2, 0.0
