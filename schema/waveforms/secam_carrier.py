"""SECAM colour bars: luminance, and a carrier whose frequency follows one colour on each line.

The line that starts at t = 0 carries D'R, the next one D'B, and so on in turn. Rest frequencies
282 and 272 times the line, D'R = -1.902 (R-Y) by 280 kHz, D'B = 1.505 (B-Y) by 230 kHz; the
carrier's amplitude follows its frequency along the bell, 11.5 % of white at 4.286 MHz
(Recommendation ITU-R BT.470-6). It starts 5.6 µs after 0H and begins every third line upside down.

Simplified: the pre-emphasis of the colours before modulation, which only overshoots at the edges
between bars, and the identification lines of the field blanking are left out.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

from ..systems import SCANNING, VIDEO_LEVELS, VIDEO_TIMING
from .base import Samples
from .colour_bars import Colour, bar_colours, compute_luminance, spread_over_line
from .corners import Change, Corners
from .video_signal import BAR_RISE_S, BURST_RISE_S

SECAM: Final = tuple(name for name in SCANNING if name.startswith("SECAM"))
_RED_HZ: Final = -1.902 * 280e3  # per unit of R-Y, from black to white
_BLUE_HZ: Final = 1.505 * 230e3  # per unit of B-Y
_RED_ENDS_HZ: Final = (-506e3, 350e3)
_BLUE_ENDS_HZ: Final = (-350e3, 506e3)
_BELL_HZ: Final = 4.286e6
_BELL_SHARE: Final = 0.115  # of black to white, half peak to peak
_START_S: Final = 5.6e-6


def compute_deviations_hz(colour: Colour) -> tuple[float, float]:
    """Return the carrier deviation of a colour on D'R and on D'B lines, in hertz.

    It stays between 3.9 and 4.756 MHz (limits of ITU-R BT.470-6, from memory).
    """
    red, _, blue = colour
    luminance = compute_luminance(colour)
    return (
        _keep_within(_RED_HZ * (red - luminance), *_RED_ENDS_HZ),
        _keep_within(_BLUE_HZ * (blue - luminance), *_BLUE_ENDS_HZ),
    )


def _keep_within(hz: float, lowest_hz: float, highest_hz: float) -> float:
    return min(max(hz, lowest_hz), highest_hz)


def compute_bell_v(system: str, frequency_hz: Samples) -> Samples:
    """Return the carrier amplitude (half peak to peak) at a frequency, on the scale of 1 Vpp.

    11.5 % |1 + 16jF| / |1 + 1.26jF| with F = f/f0 - f0/f (ITU-R BT.470-6).
    """
    import numpy as np

    detuned = frequency_hz / _BELL_HZ - _BELL_HZ / frequency_hz
    levels = VIDEO_LEVELS[system]
    centre_v = _BELL_SHARE * float(levels.white - levels.black)
    return np.asarray(centre_v * np.hypot(1, 16 * detuned) / np.hypot(1, 1.26 * detuned))


def find_rest_hz(system: str) -> tuple[float, float]:
    """Return the carrier frequencies without colour on D'R and on D'B lines."""
    red_hz, blue_hz = SCANNING[system].subcarrier_hz
    return float(red_hz), float(blue_hz)


@lru_cache(maxsize=16)
def _gate_carrier(system: str) -> Corners:
    """Return 1 from the back porch to the end of the picture, 0 around line sync."""
    line_s = float(1 / SCANNING[system].line_hz)
    end_s = line_s - VIDEO_TIMING[system].front_porch_s
    steps = (Change(_START_S, 1.0, BURST_RISE_S), Change(end_s, 0.0, BURST_RISE_S))
    return Corners.from_steps(line_s, steps)


def compute_colour_carrier(
    system: str, colours_hz: tuple[Corners, Corners], t_s: Samples
) -> Samples:
    """Return the carrier at the times ``t_s``, on the scale of 1 Vpp.

    ``colours_hz`` is the deviation along a D'R line and along a D'B line.
    """
    import numpy as np

    line, line_time_s = np.divmod(t_s, float(1 / SCANNING[system].line_hz))
    red_rest_hz, blue_rest_hz = find_rest_hz(system)
    red_deviation_hz, blue_deviation_hz = colours_hz
    # SECAM sends D'R and D'B by turns, a line each.
    is_blue = np.mod(line, 2) == 1
    frequency_hz = np.where(
        is_blue,
        blue_rest_hz + blue_deviation_hz(line_time_s),
        red_rest_hz + red_deviation_hz(line_time_s),
    )
    # The phase in cycles is the integral of the frequency from the start of the line.
    cycles = np.where(
        is_blue,
        blue_rest_hz * line_time_s + blue_deviation_hz.integrate_volts(line_time_s),
        red_rest_hz * line_time_s + red_deviation_hz.integrate_volts(line_time_s),
    )
    # Every third line begins in opposite phase, which makes the carrier less visible.
    inversion_cycles = np.where(np.mod(line, 3) == 2, 0.5, 0.0)
    amplitude_v = compute_bell_v(system, frequency_hz) * _gate_carrier(system)(line_time_s)
    return np.asarray(amplitude_v * np.sin(2 * np.pi * (cycles + inversion_cycles)))


@lru_cache(maxsize=16)
def list_bar_deviations(system: str, percent: float) -> tuple[Corners, Corners]:
    """Return the deviation along a D'R line and along a D'B line of colour bars, in hertz."""
    pairs = [compute_deviations_hz(colour) for colour in bar_colours(system, percent)]
    return (
        spread_over_line(system, [red_hz for red_hz, _ in pairs], BAR_RISE_S),
        spread_over_line(system, [blue_hz for _, blue_hz in pairs], BAR_RISE_S),
    )
