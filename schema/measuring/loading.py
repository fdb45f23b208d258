"""Hanging an instrument on a node changes the node: dividers, at DC and at a frequency.

Source: Thevenin's theorem and the voltage divider, any circuit textbook (Horowitz and Hill, The
Art of Electronics, chapter 1).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, TypeAlias, overload

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Numbers: TypeAlias = "NDArray[np.float64]"
Complex: TypeAlias = "NDArray[np.complexfloating[Any, Any]]"


def compute_loaded_v(true_v: float, source_ohm: float, load_ohm: float) -> float:
    """Return the voltage of a node of internal resistance ``source_ohm`` under a load to ground.

    >>> round(compute_loaded_v(5.0, 1e6, 10e6), 3)
    4.545
    """
    return true_v * load_ohm / (source_ohm + load_ohm)


def compute_unloaded_v(reading_v: float, source_ohm: float, load_ohm: float) -> float:
    """Return the voltage of the node without the load: the inverse of ``compute_loaded_v``.

    >>> round(compute_unloaded_v(4.5454545, 1e6, 10e6), 3)
    5.0
    """
    return reading_v * (source_ohm + load_ohm) / load_ohm


@overload
def compute_loading_gain(
    frequency_hz: float, source_ohm: float, node_f: float, tip_ohm: float, tip_f: float
) -> complex: ...
@overload
def compute_loading_gain(
    frequency_hz: Numbers, source_ohm: float, node_f: float, tip_ohm: float, tip_f: float
) -> Complex: ...
def compute_loading_gain(
    frequency_hz: float | Numbers, source_ohm: float, node_f: float, tip_ohm: float, tip_f: float
) -> complex | Complex:
    """Return the complex gain that a probe on a node leaves, one value per frequency.

    The node is a source behind ``source_ohm`` with ``node_f`` to ground; the probe adds
    ``tip_ohm`` and ``tip_f`` to ground.

    >>> round(abs(compute_loading_gain(1e6, 1e3, 10e-12, 1e6, 100e-12)), 3)
    0.824
    """
    omega = 2j * math.pi * frequency_hz
    without = 1 / source_ohm + omega * node_f
    return without / (without + 1 / tip_ohm + omega * tip_f)
