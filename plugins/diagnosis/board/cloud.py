"""Clouds of simulated boards: readings of every point under every fault, with all that may vary.

A cloud holds, for one chip in one condition, a number of draws (tolerances, severities,
unknowns of a stage) of every fault considered. Draw ``s`` of every fault is made on the
same board: subtract draw ``s`` of hypothesis 0 for the effect of the fault alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntFlag
from functools import cached_property
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

HypothesisKind = Literal["none", "part", "joint", "supply", "outside", "stage"]

FEATURES: Final = (
    "raster",  # the screen is lit: line drive and high voltage, not blanked
    "line lock",
    "field lock",
    "height",
    "width",
    "field shape",  # linear, not folded over
    "line shape",  # no bending, no ragged edges
    "luminance",  # contrast of the picture
    "brightness",  # 0 dark, 2 much too bright
    "sharpness",
    "saturation",  # 0 black and white, 2 much too strong
    "colour lock",  # 0 colours run through the picture
    "hue",
    "red",
    "green",
    "blue",
    "sound",
    "sound clean",
    "no hum",  # 0 dark bars in the picture
    "no snow",
    "tuning",
)
"""Picture and sound of a set. Each is 1 in a good set and 0 when it is gone; of those
that can be too much, up to 2."""


class Seen(IntFlag):
    """The look of a signal on an oscilloscope, besides its figures."""

    NOTHING = 0
    UNSTABLE = 1
    """Jumps or drifts; a counter's last digits run."""
    DISTORTED = 2
    HUM = 4
    """Rides on mains hum or supply ripple."""
    CLIPPED = 8
    NOISE = 16
    """Noise where the signal should be."""


@dataclass(frozen=True)
class Hypothesis:
    """One thing that may be wrong, in one way."""

    kind: HypothesisKind
    what: str
    """Reference of the part, number of the pin, name of the supply, id of the node or block;
    empty for ``none``."""
    failure: str
    """``open``, ``shorted``, ``leaky``, ``value low``, ``value high``, ``dried out``,
    ``off frequency``, ``dead``, ``weak``, ``missing``, ``low``, ``noisy``, ``slider open``, ..."""
    title: str
    """For people: ``C418 leaky``."""
    prior: float
    """Relative odds before anything is known; only ratios count."""


@dataclass(frozen=True, eq=False)
class Cloud:
    """Draws of every hypothesis at every point.

    The arrays have the shape (hypotheses, draws, points); ``shown`` (hypotheses, draws, features).
    Not a number in ``dc_v`` or ``vpp_v``: the model cannot tell.
    """

    part: str
    condition: str
    points: tuple[str, ...]
    """``pin 7`` or a node's id: every pin, then every node."""
    hypotheses: tuple[Hypothesis, ...]
    """The first is ``none``: the good board."""
    dc_v: NDArray[np.float32]
    """Readings of a DC meter without load."""
    vpp_v: NDArray[np.float32]
    """Signal, peak to peak; 0 where there is none."""
    frequency_hz: NDArray[np.float64]
    """Readings of a counter; not a number where there is nothing to count."""
    ripple_vpp: NDArray[np.float32]
    """Hum or ripple at supply rate, peak to peak, wherever it rides on."""
    words: NDArray[np.uint8]
    """Flags of ``Seen``."""
    shown: NDArray[np.float32]
    """How far each of ``FEATURES`` is as in a good set."""
    healthy_dc_v: NDArray[np.float32]
    """Of the nominal good board, shape (points,); the catalogue's where it is stated."""
    healthy_vpp_v: NDArray[np.float32]
    healthy_frequency_hz: NDArray[np.float64]

    @cached_property
    def column(self) -> dict[str, int]:
        """The position of each point on the last axis."""
        return {point: column for column, point in enumerate(self.points)}

    @cached_property
    def row(self) -> dict[tuple[str, str, str], int]:
        """The position of each hypothesis by kind, name and failure."""
        return {(h.kind, h.what, h.failure): row for row, h in enumerate(self.hypotheses)}

    @cached_property
    def feature(self) -> dict[str, int]:
        """The position of each feature on the last axis of ``shown``."""
        return {name: column for column, name in enumerate(FEATURES)}

    @property
    def draws(self) -> int:
        """How many boards there are of each hypothesis."""
        return int(self.dc_v.shape[1])
