"""Which television system a record is of, told from its line rate and its burst."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from .burst import CARRIERS_HZ, Burst, has_secam_carrier, measure_burst
from .line_grid import LineGrid

_IN_STEP: Final = 0.85  # of the burst must be left when its lines are added in step
OUT_OF_STEP: Final = "the burst is out of step from line to line"
_CLEARLY: Final = 1.15  # residuals of one carrier over those of the other


@dataclass(frozen=True, eq=False)
class Told:
    """The system as far as the record tells it."""

    lines: int
    """625 or 525; 0 where the line rate fits neither or is not known."""
    colour: str
    """PAL, NTSC or SECAM; ``none`` without a burst; empty where it cannot be told."""
    carrier_hz: float
    burst: Burst | None
    why: str
    """Reason for what cannot be told; empty when all is."""

    @property
    def words(self) -> str:
        """The system in words."""
        lines = f"{self.lines} lines" if self.lines else "line rate of no system"
        if not self.colour and self.burst is not None and self.burst.is_seen:
            return f"{lines}, burst at {self.carrier_hz / 1e6:.2f} MHz"
        if not self.colour:
            return f"{lines}, colour not told"
        if self.colour == "none":
            return f"{lines}, no burst"
        if self.colour == "SECAM":
            return f"{lines}, SECAM"
        return f"{lines}, {self.colour} at {self.carrier_hz / 1e6:.2f} MHz"


def tell_system(grid: LineGrid, expected_hz: float | None = None) -> Told:
    """Return the system; ``expected_hz`` is preferred where two subcarriers fit equally well."""
    lines = grid.lines
    if has_secam_carrier(grid):
        return Told(lines, "SECAM", 0.0, None, "")
    bursts = [
        burst
        for key in ("4.43", "3.58")
        if (burst := measure_burst(grid, CARRIERS_HZ[key])) is not None
    ]
    if not bursts:
        return Told(lines, "", 0.0, None, _explain_no_fit(grid))
    # The right subcarrier leaves the least behind.
    bursts.sort(key=lambda burst: (burst.fit.noise_v, -burst.amplitude.value))
    burst = bursts[0]
    if len(bursts) > 1 and expected_hz and bursts[1].fit.noise_v < _CLEARLY * burst.fit.noise_v:
        burst = min(bursts, key=lambda burst: abs(burst.carrier_hz - expected_hz))
    if not burst.is_seen:
        carrier_hz = expected_hz or burst.carrier_hz
        refitted = measure_burst(grid, carrier_hz) or burst
        return Told(lines, "none", carrier_hz, refitted, "")
    if burst.swing_deg is None:
        why = "a single line does not show whether the burst alternates"
        return Told(lines, "", burst.carrier_hz, burst, why)
    if not burst.is_clear:
        why = "noise hides whether the burst alternates"
        return Told(lines, "", burst.carrier_hz, burst, why)
    if burst.coherence < _IN_STEP or grid.is_uneven:
        return Told(lines, "", burst.carrier_hz, burst, OUT_OF_STEP)
    colour = "PAL" if burst.alternates else "NTSC"
    burst = _refine(grid, burst, lines, colour)
    return Told(lines, colour, burst.carrier_hz, burst, "")


def _refine(grid: LineGrid, burst: Burst, lines: int, colour: str) -> Burst:
    """Return the burst fitted with the subcarrier of PAL-M or PAL-N where it is one of these."""
    if colour != "PAL" or burst.carrier_hz != CARRIERS_HZ["3.58"]:
        return burst
    key = "PAL-M" if lines == 525 else "PAL-N"
    return measure_burst(grid, CARRIERS_HZ[key]) or burst


def _explain_no_fit(grid: LineGrid) -> str:
    if grid.record.rate_hz < 2.2 * CARRIERS_HZ["3.58"]:
        return "sampled too slowly for the colour subcarrier"
    return "the record holds no whole back porch"


def find_subcarrier_hz(told: Told, grid: LineGrid) -> tuple[float, float] | None:
    """Return the subcarrier's frequency and its standard uncertainty; None for a single line."""
    burst = told.burst
    if burst is None or not burst.is_seen or not math.isfinite(burst.turn_error):
        return None
    per_turn = 1 / (2 * math.pi * grid.line_s)
    return burst.carrier_hz + burst.turn_a_line * per_turn, burst.turn_error * per_turn
