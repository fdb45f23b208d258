"""The screen of the oscilloscope in a picture: its units, its graticule, heights and paths.

A division is 100 units, so that coordinates are whole numbers.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from .scope_settings import DIVISIONS_ACROSS, DIVISIONS_UP

Numbers = NDArray[np.float64]
Whole = NDArray[np.int_]

DIV: Final = 100
WIDTH, HEIGHT = DIVISIONS_ACROSS * DIV, DIVISIONS_UP * DIV
PAPER, LINES, INK, BEAM, CAPTURED = "#f8f7f1", "#9aa6a3", "#1c2226", "#0d4f63", "#a1350a"
LETTERS: Final = 40
"""Size of the words around a screen."""
_TICKS_PER_DIV: Final = 5
_TICK: Final = 16  # length


def draw_graticule(divisions_up: int = DIVISIONS_UP) -> str:
    """Return the graticule: a line each division, ticks each fifth of one on the middle lines."""
    width, height = WIDTH, divisions_up * DIV
    middle_x, middle_y = width // 2, height // 2
    upright_rules = "".join(f"M{x} 0v{height}" for x in range(0, width + 1, DIV))
    level_rules = "".join(f"M0 {y}h{width}" for y in range(0, height + 1, DIV))
    middle_lines = f"M{middle_x} 0v{height}M0 {middle_y}h{width}"
    ticks_across = "".join(
        f"M{x} {middle_y - _TICK // 2}v{_TICK}" for x in range(0, width, DIV // _TICKS_PER_DIV)
    )
    ticks_up = "".join(
        f"M{middle_x - _TICK // 2} {y}h{_TICK}" for y in range(0, height, DIV // _TICKS_PER_DIV)
    )
    return (
        f'<rect class="scope-screen" width="{width}" height="{height}" fill="{PAPER}"/>'
        f'<g class="scope-graticule" fill="none" stroke="{LINES}">'
        f'<path d="{upright_rules}{level_rules}" stroke-width="1.5" stroke-opacity=".6"/>'
        f'<path d="{middle_lines}{ticks_across}{ticks_up}" stroke-width="2"/></g>'
    )


def place_columns(columns: int) -> Whole:
    """Return the units from the left of the middle of each column."""
    return np.asarray(np.rint((np.arange(columns) + 0.5) * (WIDTH / columns)).astype(int))


def convert_height(
    volts: Numbers, centre_v: float, volts_per_div: float, divisions_up: int = DIVISIONS_UP
) -> Whole:
    """Return units down from the top of the screen, limited to the screen."""
    divisions = divisions_up / 2 - (volts - centre_v) / volts_per_div
    return np.asarray(np.rint(np.clip(divisions, 0, divisions_up) * DIV).astype(int))


def draw_outline(x: Whole, low: Whole, high: Whole) -> str:
    """Return a closed path, along the top to the right and back along the bottom."""
    return f"M{draw_polyline(x, high)}L{draw_polyline(x[::-1], low[::-1])}Z"


def draw_polyline(x: Whole, y: Whole) -> str:
    """Return points as path data, without those on a straight line between their neighbours."""
    bends = np.ones(len(x), dtype=bool)
    turn = np.diff(x[:-1]) * np.diff(y[1:]) - np.diff(x[1:]) * np.diff(y[:-1])
    bends[1:-1] = turn != 0
    return "L".join(f"{a} {b}" for a, b in zip(x[bends], y[bends], strict=True))


def list_runs(marked: NDArray[np.bool_]) -> list[Whole]:
    """Return the places of each run of neighbours that are marked."""
    ends = np.flatnonzero(np.diff(marked)) + 1
    return [run for run in np.split(np.arange(len(marked)), ends) if len(run) and marked[run[0]]]
