"""How far readings of good boards spread at each point, and where a signal ends in noise."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ....schema import Chip
from ..board.cloud import Cloud
from ..evidence.observations import find_point_limits
from .model_trust import ModelTrust, model_trust
from .near_the_fault import find_points_near
from .normal import compute_interval_probability, compute_normal_density

Numbers = NDArray[np.float64]

_LIMITS_SIGMA: Final = 2.5  # limits lie so many standard deviations from the middle
_LEAST_DC_V: Final = 0.03
_LEAST_DC_SHARE: Final = 0.012
_LEAST_VPP: Final = 0.05  # relative
_LEAST_FREQUENCY: Final = 1e-5  # relative
_HEADROOM: Final = 1.3  # above the highest voltage of a good board
_FLOOR_V: Final = 8e-3  # what a probe picks up anyway
_FLOOR_SHARE: Final = 0.03  # of its amplitude: less than this is no signal
_COUNTABLE_V: Final = 20e-3  # what an ordinary counter needs: common practice
_UNKNOWN_FLOOR_V: Final = 25e-3  # where no signal is known, what couples over is not one


@dataclass(frozen=True, eq=False)
class Spreads:
    """Of each point of a cloud, shape (points,)."""

    dc_v: Numbers
    vpp: Numbers
    """Of the natural logarithm of the amplitude."""
    frequency: Numbers
    """Of the natural logarithm of the frequency."""
    floor_v: Numbers
    """Peak to peak, below which there is no signal."""
    count_floor_v: Numbers
    """The same for a counter, which wants more."""
    highest_v: float
    """The most that a meter is likely to show anywhere on the board."""
    rails_v: tuple[float, ...]
    """The supplies' voltages."""
    doubt: Numbers
    """Chance that a signal is not as the parts bring it, where the catalogue states none."""
    near: NDArray[np.bool_]
    """Points that lie at each fault itself, shape (hypotheses, points)."""


@dataclass(frozen=True, eq=False)
class PredictionSpread:
    """Spread around a prediction: mostly narrow, at times wide."""

    narrow: Numbers
    wide: Numbers
    share_wide: float

    @classmethod
    def make(
        cls, trust: ModelTrust, quantity: str, own: Numbers, move: Numbers
    ) -> PredictionSpread:
        """Return the spread of a quantity that a fault moves so far; ``own``: of good boards."""
        narrow = np.hypot(own, trust.move_spread[quantity] * move)
        wide = np.hypot(own, trust.wide_spread[quantity] * move)
        return cls(narrow, wide, trust.how_often_wide)

    def compute_density(self, value: float, mean: Numbers) -> Numbers:
        """Return the density of a value around a prediction."""
        narrow = compute_normal_density(value, mean, self.narrow)
        wide = compute_normal_density(value, mean, self.wide)
        return np.asarray((1 - self.share_wide) * narrow + self.share_wide * wide)

    def compute_probability(self, low: float, high: float, mean: Numbers) -> Numbers:
        """Return the chance of lying in a range."""
        narrow = compute_interval_probability(low, high, mean, self.narrow)
        wide = compute_interval_probability(low, high, mean, self.wide)
        return np.asarray((1 - self.share_wide) * narrow + self.share_wide * wide)


def compute_spreads(chip: Chip, cloud: Cloud) -> Spreads:
    """Return the spread of good boards at the points of a cloud."""
    trust = model_trust().good_spread
    healthy_dc_v = np.nan_to_num(cloud.healthy_dc_v.astype(float))
    healthy_vpp = np.nan_to_num(cloud.healthy_vpp_v.astype(float))
    dc_v = trust["dc"] * np.abs(healthy_dc_v) + 2 * _LEAST_DC_V
    vpp = np.full(len(cloud.points), trust["vpp"])
    frequency = np.full(len(cloud.points), trust["frequency"])
    # A signal that only the drawn parts give, not the catalogue, may be wrong as a whole.
    is_unstated = (healthy_vpp > _FLOOR_V) & ~_states_signal(chip, cloud)
    doubt = np.where(is_unstated, model_trust().unstated_signal["wrong"], 0.0)
    vpp = np.where(doubt > 0, model_trust().unstated_signal["spread"], vpp)
    # Stated limits replace the calculated spread.
    for column, point in enumerate(cloud.points):
        for quantity, limits in find_point_limits(chip, point, cloud.condition).items():
            half_range = (limits.high - limits.low) / 2
            if quantity == "dc":
                dc_v[column] = half_range / _LIMITS_SIGMA
            elif limits.typ > 0 and quantity == "vpp":
                vpp[column] = max(half_range / limits.typ / _LIMITS_SIGMA, _LEAST_VPP)
            elif limits.typ > 0 and quantity == "frequency":
                relative = half_range / limits.typ / _LIMITS_SIGMA
                frequency[column] = max(relative, _LEAST_FREQUENCY)
    least_dc_v = np.maximum(_LEAST_DC_V, _LEAST_DC_SHARE * np.abs(healthy_dc_v))
    dc_v = np.maximum(dc_v, least_dc_v)
    known_floor_v = np.maximum(_FLOOR_V, _FLOOR_SHARE * healthy_vpp)
    floor_v = np.where(healthy_vpp > _FLOOR_V, known_floor_v, _UNKNOWN_FLOOR_V)
    rails_v = tuple(dict.fromkeys(supply.voltage.nominal for supply in chip.supplies))
    highest_healthy_v = float(np.abs(healthy_dc_v).max(initial=1.0))
    highest_v = _HEADROOM * max(*map(abs, rails_v), highest_healthy_v)
    near = find_points_near(chip, cloud)
    count_floor_v = np.maximum(floor_v, _COUNTABLE_V)
    return Spreads(dc_v, vpp, frequency, floor_v, count_floor_v, highest_v, rails_v, doubt, near)


def _states_signal(chip: Chip, cloud: Cloud) -> NDArray[np.bool_]:
    """Return at which points the catalogue states a signal, in any condition."""
    places = {f"pin {pin.number}": pin.expectations for pin in chip.pins}
    places |= {node.id: node.expectations for node in chip.application.nodes}
    stated = {
        name for name, stated_points in places.items() if any(one.waveform for one in stated_points)
    }
    return np.array([point in stated for point in cloud.points])
