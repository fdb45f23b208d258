"""Multiburst: packets of sine waves of rising frequency, for the video bandwidth.

625 lines as insertion test line 18 of Recommendation ITU-T J.63; 525 lines with the frequencies
and levels of the NTC-7 combination signal, spread over the line (common practice). PAL-N, whose
video ends at 4.2 MHz, has the frequencies of 525 lines (from memory).
"""

from functools import cached_property, lru_cache
from typing import ClassVar, Final, Literal, NamedTuple

from ...quantities import print_value
from ...systems import SCANNING
from ..base import Example, Samples
from ..corners import Change, Corners
from ..picture_signal import PictureSignal

_EDGE_S: Final = 0.2e-6


class Packets(NamedTuple):
    """Packets of sine waves on grey, after a flag; times in seconds from 0H, levels of 1 Vpp."""

    flag: tuple[Change, ...]
    grey: float
    amplitude: float
    starts_s: tuple[float, ...]
    lasts_s: float
    frequencies_hz: tuple[float, ...]


_TO_4_2_MHZ: Final = (0.5e6, 1e6, 2e6, 3e6, 3.58e6, 4.2e6)
_TO_5_8_MHZ: Final = (0.5e6, 1e6, 2e6, 4e6, 4.8e6, 5.8e6)
_LINE_18: Final = Packets(
    flag=(Change(12e-6, 0.56, _EDGE_S), Change(16e-6, 0.14, _EDGE_S), Change(20e-6, 0.35, _EDGE_S)),
    grey=0.35,
    amplitude=0.21,
    starts_s=(24e-6, 30e-6, 36e-6, 42e-6, 48e-6, 54e-6),
    lasts_s=4e-6,
    frequencies_hz=_TO_5_8_MHZ,
)
_NTC_7: Final = Packets(
    flag=(Change(12e-6, 100 / 140, _EDGE_S), Change(16e-6, 50 / 140, _EDGE_S)),
    grey=50 / 140,
    amplitude=25 / 140,
    starts_s=(18e-6, 25e-6, 32e-6, 39e-6, 46e-6, 53e-6),
    lasts_s=5e-6,
    frequencies_hz=_TO_4_2_MHZ,
)


def list_multiburst_packets(system: str) -> Packets:
    """Return the multiburst of a system."""
    if SCANNING[system].lines == 525:
        return _NTC_7
    return _LINE_18._replace(frequencies_hz=_TO_4_2_MHZ) if system == "PAL-N" else _LINE_18


class Multiburst(PictureSignal):
    """A flag and six packets of sine waves of rising frequency, to see the loss of each."""

    kind: Literal["multiburst"]
    example: ClassVar[Example] = {"system": "PAL-B/G", "vpp": "1 Vpp"}

    @cached_property
    def picture(self) -> Corners:
        """The flag, and the grey level of the packets."""
        end_s = self.line_s - self.timing.front_porch_s
        return Corners.from_steps(
            self.line_s, (*list_multiburst_packets(self.system).flag, Change(end_s, 0.0, _EDGE_S))
        )

    def _compute_volts_at_1_vpp(self, t_s: Samples) -> Samples:
        return super()._compute_volts_at_1_vpp(t_s) + _list_packets(self.system, t_s)

    @property
    def fastest_hz(self) -> float:
        """The last packet, or the colour subcarrier."""
        return max(super().fastest_hz, list_multiburst_packets(self.system).frequencies_hz[-1])

    @property
    def parts_of_their_own(self) -> tuple[tuple[float, float], ...]:
        """Every packet."""
        shape = list_multiburst_packets(self.system)
        packet_v = 2 * shape.amplitude * self.vpp.nominal
        return tuple((hz, packet_v) for hz in shape.frequencies_hz)

    def describe(self) -> str:
        """Return frequencies, levels and amplitude in words."""
        shape = list_multiburst_packets(self.system)
        *most, last = (f"{hz / 1e6:g}" for hz in shape.frequencies_hz)
        packet_v = 2 * shape.amplitude * self.vpp.nominal
        return (
            f"{self.system} multiburst: a flag, then packets of {', '.join(most)} and {last} MHz, "
            f"{print_value(packet_v, 'Vpp')} each on grey; {self._amplitude}."
        )


@lru_cache(maxsize=16)
def _gate_packet(system: str) -> Corners:
    """Return the gate of the packets: 1 while one lasts, 0 otherwise."""
    shape = list_multiburst_packets(system)
    changes: list[Change] = []
    for start_s in shape.starts_s:
        changes += [Change(start_s, 1.0, _EDGE_S), Change(start_s + shape.lasts_s, 0.0, _EDGE_S)]
    return Corners.from_steps(float(1 / SCANNING[system].line_hz), changes)


def _list_packets(system: str, t_s: Samples) -> Samples:
    import numpy as np

    shape = list_multiburst_packets(system)
    rest_s = np.mod(t_s, float(1 / SCANNING[system].line_hz))
    starts_s = np.array(shape.starts_s)
    # Half of an edge lies before the start of its packet.
    which = np.searchsorted(starts_s - _EDGE_S, rest_s, side="right").clip(1) - 1
    cycles = np.array(shape.frequencies_hz)[which] * (rest_s - starts_s[which])
    return np.asarray(shape.amplitude * _gate_packet(system)(rest_s) * np.sin(2 * np.pi * cycles))
