"""The colour burst: its carrier, amplitude, cycles, position, phase and alternation.

Phases of neighbouring lines tell NTSC from PAL: counted along with the subcarrier, the NTSC burst
stays at 180° from +U, that of PAL alternates between 135° and 225° (ITU-R BT.470-6, table 2;
BT.1700; SMPTE 170M, clause 8). The SECAM carrier lasts from the back porch to the picture and has
another rest frequency on every second line.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ....schema.systems import SCANNING
from ....schema.waveforms import Samples
from .averages import Mean, average
from .carrier_fit import CarrierFit, Vectors, fit_carrier
from .line_grid import LineGrid
from .sync_pulses import Index

_PLATEAU_S: Final = (5.98e-6, 7.45e-6)  # within the burst of every system
_USUAL_BURST: Final = 0.75  # quantile of the lines
_BURST_BLANKING: Final = 9  # lines
_FEWEST_PAIRS: Final = 3  # of neighbouring lines, for a straight line through their phases
_LATER_S: Final = (8.3e-6, 10.2e-6)  # behind the burst of PAL and NTSC
_EARLIER_S: Final = (6.1e-6, 8.0e-6)
_SAMPLES_A_CYCLE: Final = 2.2  # at least, for a sine to be told from its alias
_SECAM_LASTS: Final = 0.6  # of its earlier amplitude, where a burst is over
_SECAM_APART_HZ: Final = (60e3, 400e3)  # 156 kHz between the two rest frequencies
_ALTERNATES_DEG: Final = 25.0  # between 0° of NTSC and 90° of PAL, nearer to a stopped switch
_LEAST_V: Final = 1e-9  # less is rounding
_SEEN: Final = 5.0  # standard uncertainties of an amplitude that is certainly there
TIME_BASE: Final = 50e-6 / math.sqrt(3)
"""Standard uncertainty of a crystal time base of 50 ppm, over its frequency. Common practice."""
CARRIERS_HZ: Final = {
    "4.43": float(SCANNING["PAL-B/G"].subcarrier_hz[0]),
    "3.58": float(SCANNING["NTSC-M"].subcarrier_hz[0]),
    "PAL-M": float(SCANNING["PAL-M"].subcarrier_hz[0]),
    "PAL-N": float(SCANNING["PAL-N"].subcarrier_hz[0]),
}
_SECAM_HZ: Final = sum(float(hz) for hz in SCANNING["SECAM-B/G"].subcarrier_hz) / 2


@dataclass(frozen=True, eq=False)
class Burst:
    """The burst of the lines of a grid."""

    carrier_hz: float
    """The subcarrier of the system that it was fitted with."""
    amplitude: Mean
    """Half the peak to peak, in volts."""
    fit: CarrierFit
    which: Index
    """Places in the grid of the lines that hold a burst."""
    order: Samples
    """Place of each of these lines in the sequence of lines."""
    turn_a_line: float
    """Phase by which the burst is off the carrier, in radians a line."""
    turn_error: float
    """Standard uncertainty of ``turn_a_line``; infinite for a single line."""
    swing_deg: Mean | None
    """From one line to the next, 90° in PAL and 0° in NTSC; None for a single line."""
    is_positive: Samples
    """Whether V is positive on each of the lines; all true where nothing alternates."""
    middle_s: float
    """Middle of the part that was fitted, after 0H."""
    line_s: float

    @property
    def is_seen(self) -> bool:
        """Whether there is a burst at all."""
        return self.amplitude.value > max(_SEEN * self.amplitude.uncertainty, _LEAST_V)

    def reference(self, order: Samples, after_s: float | Samples) -> Vectors:
        """Return the direction of +U at times after 0H, on lines by their places in the sequence.

        A subcarrier that is off its frequency turns on from the burst along the line.
        """
        place = order + (after_s - self.middle_s) / self.line_s
        return np.asarray(self._axis * np.exp(1j * self.turn_a_line * place))

    def count_lines(self, after_s: float) -> float:
        """Return how far a time after 0H is behind the burst, in lines."""
        return (after_s - self.middle_s) / self.line_s

    @property
    def turn_doubt(self) -> float:
        """Standard uncertainty of the turn in radians a line, that of the time base at most."""
        return min(self.turn_error, TIME_BASE * 2 * math.pi * self.carrier_hz * self.line_s)

    @property
    def _axis(self) -> complex:
        """Direction of +U at place 0 of the sequence: opposite to the mean of the bursts."""
        mean = complex(np.mean(self._turn_into_step()))
        return -mean / abs(mean) if mean else -1.0

    def _turn_into_step(self) -> Vectors:
        """Return the bursts with the phase a line and the swing taken off."""
        turned = self.fit.vectors * np.exp(-1j * self.turn_a_line * self.order)
        half = math.radians(self.swing_deg.value / 2) if self.alternates and self.swing_deg else 0.0
        return np.asarray(turned * np.exp(1j * half * np.where(self.is_positive, 1, -1)))

    @property
    def is_clear(self) -> bool:
        """Whether it is certain that the burst alternates, or that it does not."""
        if self.swing_deg is None:
            return False
        return abs(self.swing_deg.value - _ALTERNATES_DEG) > 2 * self.swing_deg.uncertainty

    @property
    def alternates(self) -> bool:
        """Whether the burst alternates from line to line."""
        return self.swing_deg is not None and self.swing_deg.value > _ALTERNATES_DEG

    @property
    def coherence(self) -> float:
        """Share of the burst that is left when all lines are added in step: 1 without jitter."""
        turned = self._turn_into_step()
        total = float(np.sum(np.abs(turned)))
        return float(abs(np.sum(turned))) / total if total else 0.0


def measure_burst(grid: LineGrid, carrier_hz: float) -> Burst | None:
    """Return the burst fitted with a carrier; None where no line holds enough samples of it."""
    if grid.record.rate_hz < _SAMPLES_A_CYCLE * carrier_hz:
        return None
    cut = grid.cut(*_PLATEAU_S)
    fit = fit_carrier(cut, carrier_hz)
    if fit is None:
        return None
    which = cut.which
    has_burst = _find_lines_with_burst(fit)
    if not has_burst.all():
        which = which[has_burst]
        fit = replace(fit, vectors=fit.vectors[has_burst], levels_v=fit.levels_v[has_burst])
    order = grid.order[which].astype(np.float64)
    turn_a_line, turn_error = _find_turn(fit.vectors, order, fit.vector_error_v)
    vectors_in_step = fit.vectors * np.exp(-1j * turn_a_line * order)
    swing, is_even_positive = _find_swing(vectors_in_step, order, fit.vector_error_v)
    # Where lines do not tell the turn, a time base that is off turns the next line's burst as well.
    if swing is not None and not math.isfinite(turn_error):
        drift_deg = math.degrees(2 * math.pi * carrier_hz * grid.line_s * TIME_BASE)
        swing = Mean(swing.value, math.hypot(swing.uncertainty, drift_deg))
    is_positive = np.ones(len(order), bool)
    if swing is not None and swing.value > _ALTERNATES_DEG:
        is_positive = (order % 2 == 0) == is_even_positive
    return Burst(
        carrier_hz=carrier_hz,
        amplitude=_average_amplitude(fit),
        fit=fit,
        which=which,
        order=order,
        turn_a_line=turn_a_line,
        turn_error=turn_error,
        swing_deg=swing,
        is_positive=np.asarray(is_positive),
        middle_s=float(cut.after_s.mean() + cut.along_s.mean()),
        line_s=grid.line_s,
    )


def _find_lines_with_burst(fit: CarrierFit) -> NDArray[np.bool_]:
    """Return the lines that carry a burst; all, unless few beside others have none.

    Around field sync nine lines have none (ITU-R BT.470-6, burst blanking).
    """
    sizes_v = fit.amplitudes_v
    usual_v = float(np.quantile(sizes_v, _USUAL_BURST))
    is_present = sizes_v > usual_v / 2
    are_few_missing = np.count_nonzero(~is_present) <= _BURST_BLANKING
    if usual_v > _SEEN * fit.vector_error_v and are_few_missing:
        return np.asarray(is_present)
    return np.ones(len(sizes_v), dtype=bool)


def _average_amplitude(fit: CarrierFit) -> Mean:
    """Return the amplitude without the part that noise adds to the length of a vector."""
    lines = len(fit.vectors)
    squares = np.abs(fit.vectors) ** 2 - 2 * fit.vector_error_v**2
    value = math.sqrt(max(float(np.mean(squares)), 0.0))
    noise = fit.vector_error_v / math.sqrt(lines)
    if value < 3 * fit.vector_error_v / lines**0.25:
        return Mean(value, fit.vector_error_v / lines**0.25)
    return Mean(value, average(np.abs(fit.vectors), fit.vector_error_v).uncertainty or noise)


def _find_turn(vectors: Vectors, order: Samples, error_v: float) -> tuple[float, float]:
    """Return the phase a line in radians, from lines two apart, and its standard uncertainty.

    Lines two apart have the same V switch, so that this holds for NTSC and PAL alike.
    """
    if len(order) <= 3:  # the middle one of three lines may be missing
        gaps = np.subtract.outer(order, order)
        first, second = np.nonzero(np.triu(gaps.T == 2))
    else:
        first = np.flatnonzero(order[2:] - order[:-2] == 2)
        second = first + 2
    if not len(first):
        return 0.0, math.inf
    rough_turn = float(np.angle(np.sum(vectors[second] * vectors[first].conj()))) / 2
    vectors_in_step = vectors * np.exp(-1j * rough_turn * order)
    amplitude_v = float(np.mean(np.abs(vectors)))
    phase_error = error_v / amplitude_v if amplitude_v else math.inf
    pairs = np.flatnonzero(np.diff(order) == 1)
    if len(pairs) < _FEWEST_PAIRS:
        return rough_turn, phase_error / math.sqrt(2)

    # The product of two neighbours has twice the phase of their axis, whatever the swing.
    axes = np.unwrap(np.angle(vectors_in_step[pairs + 1] * vectors_in_step[pairs])) / 2
    pair_middles = order[pairs] + 0.5
    centred = pair_middles - pair_middles.mean()
    squares = float(centred @ centred)
    slope = float(centred @ axes) / squares
    residuals = axes - axes.mean() - slope * centred
    # Neighbouring pairs share a line, so that their errors are not independent.
    scatter = math.sqrt(2 * float(residuals @ residuals) / max(len(residuals) - 2, 1))
    error = max(scatter, phase_error / math.sqrt(2)) / math.sqrt(squares)
    return rough_turn + slope, error


def _find_swing(vectors: Vectors, order: Samples, error_v: float) -> tuple[Mean | None, bool]:
    """Return the swing from line to line in degrees, and whether V is positive on even places."""
    pairs = np.flatnonzero(np.diff(order) == 1)
    if not pairs.size:
        return None, True
    steps = vectors[pairs + 1] * vectors[pairs].conj()
    is_from_even = order[pairs] % 2 == 0
    angles = [
        float(np.angle(np.sum(steps[side]))) for side in (is_from_even, ~is_from_even) if side.any()
    ]
    amplitude_v = float(np.mean(np.abs(vectors)))
    error_deg = math.degrees(error_v / amplitude_v) if amplitude_v else math.inf
    # Of two lines, one step tells both the swing and its direction.
    if len(angles) == 1:
        is_even_positive = angles[0] > 0 if is_from_even.any() else angles[0] < 0
        return Mean(abs(math.degrees(angles[0])), error_deg * math.sqrt(2)), is_even_positive
    from_even, from_odd = angles
    swing_deg = abs(math.degrees(from_even - from_odd)) / 2
    return Mean(swing_deg, 2 * error_deg / math.sqrt(len(vectors))), from_even > from_odd


def has_secam_carrier(grid: LineGrid) -> bool | None:
    """Return whether the back porch carries a SECAM carrier; None where that cannot be seen.

    A carrier that lasts beyond a burst, at frequencies that change from line to line.
    """
    if grid.record.rate_hz < _SAMPLES_A_CYCLE * _SECAM_HZ:
        return None
    early_cut, late_cut = grid.cut(*_EARLIER_S), grid.cut(*_LATER_S)
    early, late = fit_carrier(early_cut, _SECAM_HZ), fit_carrier(late_cut, _SECAM_HZ)
    if early is None or late is None or len(early.vectors) != len(late.vectors):
        return None
    late_v = float(np.mean(late.amplitudes_v))
    is_over = late_v < _SECAM_LASTS * float(np.mean(early.amplitudes_v))
    if is_over or late_v < _SEEN * late.vector_error_v:
        return False
    # The turn between the two parts tells how far each line's carrier is off the middle.
    apart_s = float(np.mean(late_cut.at_s - early_cut.at_s))
    off_hz = np.angle(late.vectors * early.vectors.conj()) / (2 * np.pi * apart_s)
    is_even = grid.order[early_cut.which] % 2 == 0
    if is_even.all() or not is_even.any():
        return True
    rest_apart_hz = abs(float(np.mean(off_hz[is_even])) - float(np.mean(off_hz[~is_even])))
    least_hz, most_hz = _SECAM_APART_HZ
    return least_hz < rest_apart_hz < most_hz
