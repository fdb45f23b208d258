"""Detect the television system of a record, from its line rate and its burst."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from .burst import CARRIERS_HZ, Burst, has_secam_carrier, measure_burst
from .line_grid import LineGrid

_IN_STEP: Final = 0.85  # of the burst must be left when its lines are added in step
SAMPLED_TOO_SLOWLY: Final = "sampled too slowly for the colour subcarrier"
OUT_OF_STEP: Final = "the burst is out of step from line to line"
_CLEARLY: Final = 1.15  # residuals of one carrier over those of the other
_LEAST_SAMPLES_A_CYCLE: Final = 2.2  # of the lower subcarrier
_LINES_OF_PAL_M: Final = 525
NO_BURST: Final = "none"
UNKNOWN_COLOUR: Final = ""


@dataclass(frozen=True, eq=False)
class DetectedSystem:
    """The system as far as the record shows it."""

    lines: int
    """625 or 525; 0 where the line rate fits neither or is not known."""
    colour: str
    """PAL, NTSC or SECAM, ``NO_BURST``, or ``UNKNOWN_COLOUR``."""
    carrier_hz: float = 0.0
    """The subcarrier of the burst; 0 for SECAM, and where none could be fitted."""
    burst: Burst | None = None
    """The burst that was fitted, perhaps only to noise; None for SECAM, and without a fit."""
    why: str = ""
    """Reason for an unknown colour; empty when the colour is known."""

    @property
    def words(self) -> str:
        """The system in words."""
        lines = f"{self.lines} lines" if self.lines else "line rate of no system"
        if not self.colour and self.burst is not None and self.burst.is_seen:
            return f"{lines}, burst at {self.carrier_hz / 1e6:.2f} MHz"
        if not self.colour:
            return f"{lines}, colour not told"
        if self.colour == NO_BURST:
            return f"{lines}, no burst"
        if self.colour == "SECAM":
            return f"{lines}, SECAM"
        return f"{lines}, {self.colour} at {self.carrier_hz / 1e6:.2f} MHz"


def detect_system(grid: LineGrid, expected_hz: float | None = None) -> DetectedSystem:
    """Return the system as far as line rate and burst show it.

    ``expected_hz`` is the subcarrier that is preferred where two fit equally well.
    """
    if has_secam_carrier(grid):
        return DetectedSystem(grid.lines, "SECAM")
    burst = _fit_likeliest_burst(grid, expected_hz)
    if burst is None:
        return DetectedSystem(grid.lines, UNKNOWN_COLOUR, why=_explain_no_fit(grid))
    if not burst.is_seen:
        # Noise prefers no subcarrier: how much burst may be hidden is found at the expected one.
        carrier_hz = expected_hz or burst.carrier_hz
        hidden_burst = measure_burst(grid, carrier_hz) or burst
        return DetectedSystem(grid.lines, NO_BURST, carrier_hz, hidden_burst)
    why = _explain_unknown_alternation(grid, burst)
    if why:
        return DetectedSystem(grid.lines, UNKNOWN_COLOUR, burst.carrier_hz, burst, why)
    if burst.alternates:
        burst = _refine_pal_subcarrier(grid, burst)
        return DetectedSystem(grid.lines, "PAL", burst.carrier_hz, burst)
    return DetectedSystem(grid.lines, "NTSC", burst.carrier_hz, burst)


def _fit_likeliest_burst(grid: LineGrid, expected_hz: float | None) -> Burst | None:
    """Return the burst fitted with the subcarrier that fits best; None where none can be fitted."""
    fitted = (measure_burst(grid, CARRIERS_HZ[key]) for key in ("4.43", "3.58"))
    # The right subcarrier leaves the least behind.
    bursts = sorted(
        (burst for burst in fitted if burst is not None),
        key=lambda burst: (burst.fit.noise_v, -burst.amplitude.value),
    )
    if not bursts:
        return None
    best, *others = bursts
    fit_alike = any(burst.fit.noise_v < _CLEARLY * best.fit.noise_v for burst in others)
    if expected_hz and fit_alike:
        return min(bursts, key=lambda burst: abs(burst.carrier_hz - expected_hz))
    return best


def _explain_unknown_alternation(grid: LineGrid, burst: Burst) -> str:
    """Return why PAL and NTSC cannot be distinguished; empty where they can."""
    if burst.swing_deg is None:
        return "a single line does not show whether the burst alternates"
    if not burst.is_clear:
        return "noise hides whether the burst alternates"
    if burst.coherence < _IN_STEP or grid.is_uneven:
        return OUT_OF_STEP
    return ""


def _refine_pal_subcarrier(grid: LineGrid, burst: Burst) -> Burst:
    """Return the burst fitted with the subcarrier of PAL-M or PAL-N where it is one of these."""
    # Only they have a subcarrier near that of NTSC.
    if burst.carrier_hz != CARRIERS_HZ["3.58"]:
        return burst
    system = "PAL-M" if grid.lines == _LINES_OF_PAL_M else "PAL-N"
    return measure_burst(grid, CARRIERS_HZ[system]) or burst


def _explain_no_fit(grid: LineGrid) -> str:
    """Return why no subcarrier can be fitted to the back porches."""
    if grid.record.rate_hz < _LEAST_SAMPLES_A_CYCLE * CARRIERS_HZ["3.58"]:
        return SAMPLED_TOO_SLOWLY
    return "the record holds no whole back porch"


def find_subcarrier_hz(detected: DetectedSystem, grid: LineGrid) -> tuple[float, float] | None:
    """Return the subcarrier's frequency and its standard uncertainty; None for a single line."""
    burst = detected.burst
    if burst is None or not burst.is_seen or not math.isfinite(burst.turn_error):
        return None
    per_turn = 1 / (2 * math.pi * grid.line_s)
    return burst.carrier_hz + burst.turn_a_line * per_turn, burst.turn_error * per_turn
