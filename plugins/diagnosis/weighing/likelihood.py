"""How likely a reading is on every simulated board of a cloud.

A reading is a figure with its uncertainty, a word, or both. Under a fault it is the density of
the figure around those of the simulated boards; with a stated chance the model is wrong about
that point, and then the reading is as in a good set, or anything.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ....schema import Chip
from ..board.cloud import Cloud, Seen
from ..evidence.observations import Observation, find_point_limits
from .anything import compute_anything_chance, compute_anything_density
from .model_trust import ErrorChances, ModelTrust, model_trust
from .normal import compute_interval_probability, compute_normal_density
from .same_object import Same
from .spreads import Spreads

Numbers = NDArray[np.float64]

_NO_COUNT: Final = 0.9  # where there is nothing to count, a counter shows so
_STRAY_COUNT: Final = 0.08  # a counter shows nothing where there is a signal
_METER_ZERO_V: Final = 0.015  # of an ordinary meter and of where its other lead is clipped on
_HELD_DOWN: Final = 10.0
_DECADES: Final = 7.0  # natural logarithms that an amplitude or frequency may be off by: anything
_GONE: Final = 0.35  # of the signals that a model is wrong about, those that are not there
_ANYTHING: Final = (1 - _GONE) / _DECADES  # density of a figure that a model is wrong about
_ANY_VERDICT: Final = 1 / 3  # chance of a verdict on a figure that a model is wrong about
_ANY_COUNT: Final = (1 - _NO_COUNT) / _DECADES  # density of a count where nothing is to be counted
_STRAY_WITHIN: Final = 0.02  # such a count happens to lie within the limits
_STRAY_BESIDE: Final = 0.1  # or beside them, where it is called off frequency
_FAR: Final = 2.0  # natural logarithms: a move beyond counts no more
_JITTER: Final = 0.01  # of a frequency that does not hold
_WORDS: Final = {
    "unstable": Seen.UNSTABLE,
    "distorted": Seen.DISTORTED,
    "clipped": Seen.CLIPPED,
    "hum": Seen.HUM,
    "noise": Seen.NOISE,
}
_KIN: Final = {
    "unstable": Seen.UNSTABLE | Seen.NOISE,
    "distorted": Seen.DISTORTED | Seen.CLIPPED | Seen.HUM | Seen.UNSTABLE,
    "clipped": Seen.CLIPPED | Seen.DISTORTED,
    "hum": Seen.HUM | Seen.DISTORTED,
    "noise": Seen.NOISE | Seen.UNSTABLE | Seen.DISTORTED,
}
"""Looks that a person may call so."""


_NOWHERE: Final = np.zeros((1, 1), dtype=bool)


@dataclass(frozen=True, eq=False)
class Weighed:
    """One observation under every simulated board: shapes (hypotheses, draws)."""

    predicted: Numbers
    """Density where the model is right."""
    otherwise: float
    """Density where it is wrong."""
    moved: Numbers
    """How surely the fault moves the reading, 0 to 1."""
    near: NDArray[np.bool_]
    """Whether the point lies at the fault itself; shape (hypotheses, 1)."""
    doubt: float = 0.0
    """Chance that the model is wrong about the point whatever the fault."""

    def mix_errors(self, chances: ErrorChances) -> Numbers:
        """Return the likelihood, the model being wrong with these chances."""
        # At the fault itself a move is sure, and that there is none is what to doubt.
        doubt = np.where(self.near, 1 - self.moved, self.moved)
        wrong = chances.unmoved + (chances.moved - chances.unmoved) * doubt
        sure = self.near * self.moved
        wrong = wrong + (model_trust().wrong_at_the_fault - wrong) * sure
        wrong = self.doubt + (1 - self.doubt) * wrong
        return np.asarray((1 - wrong) * self.predicted + wrong * self.otherwise)


@dataclass(frozen=True, eq=False)
class _Spread:
    """Spread around a prediction: mostly narrow, at times wide."""

    narrow: Numbers
    wide: Numbers
    share_wide: float

    @classmethod
    def make(cls, trust: ModelTrust, quantity: str, own: Numbers, move: Numbers) -> _Spread:
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


def weigh(chip: Chip, cloud: Cloud, spreads: Spreads, observation: Observation) -> Weighed:
    """Return how likely an observation is on every simulated board."""
    return _weigh(Same(chip), cloud, spreads, observation, Same(model_trust()))


@lru_cache(maxsize=64)  # some 150 kB each; a step of a hunt repeats all readings but the last
def _weigh(
    same_chip: Same[Chip],
    cloud: Cloud,
    spreads: Spreads,
    observation: Observation,
    same_trust: Same[ModelTrust],
) -> Weighed:
    chip, trust, column = same_chip.value, same_trust.value, cloud.column[observation.point]
    by_quantity = {"dc": _weigh_dc, "frequency": _weigh_frequency}
    weigh_one = by_quantity.get(observation.quantity, _weigh_amplitude)
    weighed = weigh_one(chip, cloud, spreads, column, observation, trust)
    if observation.as_read is not None:
        # Nobody knows how far the probe really loaded it, or the one the catalogue was made with.
        plain = replace(observation, value=observation.as_read, as_read=None)
        weighed = _weigh_either(weighed, weigh_one(chip, cloud, spreads, column, plain, trust))
    near = spreads.near[:, column, None]
    doubt = 0.0 if observation.quantity in ("dc", "ripple") else float(spreads.doubt[column])
    is_gone = observation.verdict == "missing" or (
        observation.quantity == "vpp"
        and observation.value is not None
        and observation.value <= spreads.floor_v[column]
    )
    weighed = replace(weighed, near=near, doubt=doubt)
    return _add_words(cloud, column, observation, weighed, trust, is_gone)


def _weigh_either(one: Weighed, other: Weighed) -> Weighed:
    """Return a reading that is as likely one as the other."""
    predicted = (one.predicted + other.predicted) / 2
    return replace(one, predicted=predicted, otherwise=(one.otherwise + other.otherwise) / 2)


def _compute_closeness(spreads: Spreads, column: int) -> Numbers:
    """Return by how much a move spreads less where the point lies at the fault itself."""
    return np.where(spreads.near[:, column, None], model_trust().spread_at_the_fault, 1.0)


def _weigh_dc(
    chip: Chip,
    cloud: Cloud,
    spreads: Spreads,
    column: int,
    observation: Observation,
    trust: ModelTrust,
) -> Weighed:
    """DC in volts: a prediction spreads by the move of the fault as well."""
    volts = cloud.dc_v[:, :, column].astype(float)
    good = volts[0]
    move = np.abs(volts - good)
    tolerance = spreads.dc_v[column]
    own = np.hypot(tolerance, observation.uncertainty)
    around = _Spread.make(trust, "dc", own, move * _compute_closeness(spreads, column))
    around = _narrow_pinned(
        around, volts, move, float(np.hypot(_METER_ZERO_V, observation.uncertainty))
    )
    low, high = _find_bounds(chip, cloud, observation, float(np.nanmean(good)), tolerance)
    if low is None or high is None:
        if observation.value is None:
            return _weigh_nothing(volts.shape)
        predicted = around.compute_density(observation.value, volts)
        near = float(np.mean(compute_normal_density(observation.value, good, own)))
        anything = compute_anything_density(spreads, observation.value)
    else:
        predicted = around.compute_probability(low, high, volts)
        near = float(
            np.mean(compute_interval_probability(low, high, good, np.full_like(good, tolerance)))
        )
        anything = compute_anything_chance(spreads, low, high)
    otherwise = _mix_otherwise(trust, near, anything)
    return _limit_to_known(predicted, otherwise, _compute_moved(move, tolerance))


def _narrow_pinned(around: _Spread, volts: Numbers, move: Numbers, least_v: float) -> _Spread:
    """Return the spread of voltages, less where a fault holds a point at nothing.

    A pin cut off, or shorted to ground, reads nothing exactly, however much it should have read.
    """
    share = np.clip((np.abs(volts) + least_v) / np.maximum(move, least_v), 0.0, 1.0)
    narrow = np.maximum(around.narrow * share, least_v)
    return replace(around, narrow=np.where(move > _HELD_DOWN * least_v, narrow, around.narrow))


def _weigh_amplitude(
    chip: Chip,
    cloud: Cloud,
    spreads: Spreads,
    column: int,
    observation: Observation,
    trust: ModelTrust,
) -> Weighed:
    """Peak to peak, in natural logarithms; below the floor there is no signal."""
    ripple = cloud.ripple_vpp[:, :, column].astype(float)
    shown = ripple
    if observation.quantity == "vpp":
        shown = np.fmax(cloud.vpp_v[:, :, column].astype(float), ripple)
    floor = spreads.floor_v[column]
    level = np.log(np.maximum(shown, floor / 2))
    good = level[0]
    move = np.abs(level - good)
    tolerance = spreads.vpp[column] if observation.quantity == "vpp" else 0.5
    value = _read_amplitude(observation, floor)
    share = 0.0 if not value else min(observation.uncertainty / value, 0.5)
    own = np.hypot(tolerance, share)
    around = _Spread.make(
        trust, "vpp", own, np.minimum(move, _FAR) * _compute_closeness(spreads, column)
    )
    moved = _compute_moved(move, tolerance)
    if value is not None and value <= floor:
        predicted = around.compute_probability(-np.inf, float(np.log(floor)), level)
        near = float(np.mean(predicted[0]))
        return _limit_to_known(predicted, _mix_otherwise(trust, near, _GONE), moved)
    if value is not None:
        predicted = around.compute_density(float(np.log(value)), level)
        near = float(np.mean(compute_normal_density(np.log(value), good, own)))
        return _limit_to_known(predicted, _mix_otherwise(trust, near, _ANYTHING), moved)
    low, high = _find_bounds(chip, cloud, observation, float(np.exp(np.nanmean(good))), None)
    if low is None or high is None:
        return _weigh_nothing(shown.shape)
    lowest, highest = (float(np.log(max(end, 1e-9))) for end in (low, high))
    predicted = around.compute_probability(lowest, highest, level)
    near = float(np.mean(predicted[0]))
    return _limit_to_known(predicted, _mix_otherwise(trust, near, _ANY_VERDICT), moved)


def _read_amplitude(observation: Observation, floor: float) -> float | None:
    """Return the amplitude that was read; one called nothing is at the floor."""
    if observation.verdict == "missing":
        return floor / 2
    return observation.value


def _weigh_frequency(
    chip: Chip,
    cloud: Cloud,
    spreads: Spreads,
    column: int,
    observation: Observation,
    trust: ModelTrust,
) -> Weighed:
    """A count, in natural logarithms; where nothing is to be counted it may show anything."""
    hertz = cloud.frequency_hz[:, :, column]
    vpp = np.nan_to_num(cloud.vpp_v[:, :, column].astype(float))
    none = ~np.isfinite(hertz) | (hertz <= 0) | (vpp <= spreads.floor_v[column])
    level = np.log(np.where(none, 1.0, hertz))
    healthy = cloud.healthy_frequency_hz[column]
    has_healthy = bool(np.isfinite(healthy) and healthy > 0)
    centre = float(np.log(healthy)) if has_healthy else 0.0
    good = np.where(none[0], centre, level[0])
    move = np.where(none, 1.0, np.abs(level - good))
    tolerance = spreads.frequency[column]
    moved = _compute_moved(move, tolerance)
    if observation.verdict == "missing":
        predicted = np.where(none, _NO_COUNT, _STRAY_COUNT)
        return _limit_to_known(
            predicted, _mix_otherwise(trust, float(predicted[0].mean()), _GONE), moved
        )
    share = 0.0 if not observation.value else observation.uncertainty / observation.value
    jumping = (cloud.words[:, :, column] & Seen.UNSTABLE) > 0
    own = np.sqrt(tolerance**2 + share**2 + np.where(jumping, _JITTER**2, 0.0))
    around = _Spread.make(trust, "frequency", own, np.minimum(move, _FAR))
    if observation.value is not None and observation.value > 0:
        count = float(np.log(observation.value))
        predicted = np.where(none, _ANY_COUNT, around.compute_density(count, level))
        good_density = compute_normal_density(count, good, np.hypot(tolerance, share))
        near = float(np.mean(good_density)) * has_healthy
        return _limit_to_known(predicted, _mix_otherwise(trust, near, _ANYTHING), moved)
    low, high = _find_bounds(chip, cloud, observation, float(np.exp(centre)), None)
    if low is None or high is None or not has_healthy:
        return _weigh_nothing(none.shape)
    predicted = _predict_count_verdict(around, level, none, (low, high), observation.verdict)
    near = float(predicted[0].mean())
    return _limit_to_known(predicted, _mix_otherwise(trust, near, _ANY_VERDICT), moved)


def _predict_count_verdict(
    around: _Spread,
    level: Numbers,
    none: NDArray[np.bool_],
    bounds: tuple[float, float],
    verdict: str | None,
) -> Numbers:
    """Return the probability of a verdict on a count, in natural logarithms, on each board.

    ``none`` marks the boards where nothing is to be counted.
    """
    lowest, highest = (float(np.log(max(end, 1e-9))) for end in bounds)
    inside = np.where(none, _STRAY_WITHIN, around.compute_probability(lowest, highest, level))
    if verdict == "off frequency":
        return np.where(none, _STRAY_BESIDE, 1 - inside)
    return inside


def _mix_otherwise(trust: ModelTrust, near: float, anything: float) -> float:
    """Return the density of a reading that the model does not explain: good, or anything."""
    return trust.then_good * near + (1 - trust.then_good) * anything


def _find_bounds(
    chip: Chip, cloud: Cloud, observation: Observation, good: float, tolerance: float | None
) -> tuple[float | None, float | None]:
    """Return the range of magnitudes behind a verdict, as a technician compares them."""
    if observation.verdict is None:
        return None, None
    limits = find_point_limits(chip, observation.point, cloud.condition).get(observation.quantity)
    half = 2.5 * tolerance if tolerance is not None else 0.2 * abs(good)
    low, high = (limits.low, limits.high) if limits else (good - half, good + half)
    far = 1e6
    if observation.verdict in ("as expected", "off frequency"):
        return low, high
    if observation.verdict == "missing":
        near = max(0.1 * abs(good), 0.1)
        return -near, near
    # A negative rail that is "too low" lies nearer to zero.
    towards_zero = observation.verdict == "too low"
    if good >= 0:
        return (-far, low) if towards_zero else (high, far)
    return (high, far) if towards_zero else (-far, low)


def _add_words(
    cloud: Cloud,
    column: int,
    observation: Observation,
    weighed: Weighed,
    trust: ModelTrust,
    is_gone: bool,
) -> Weighed:
    """Return the same with the word seen besides the figure: both count.

    Of a signal that is gone nobody says how it looks.
    """
    is_signal = observation.quantity in ("vpp", "frequency")
    if not is_signal and not observation.seen:
        return weighed
    flags = cloud.words[:, :, column].astype(int)
    if observation.quantity == "frequency":
        flags = flags & Seen.UNSTABLE
    chances, known = np.ones(flags.shape), trust.words
    for word in observation.seen:
        said, kin = (flags & _WORDS[word]) > 0, (flags & _KIN[word]) > 0
        other = np.where(kin, known["other predicted"], known["none predicted"])
        chances *= np.where(said, known["predicted"], other)
    if not observation.seen and not is_gone:
        unsaid = known["nothing said of"] if not observation.is_steady else known["none predicted"]
        chances *= np.where(flags > 0, unsaid, 1.0)
    # Where the model is wrong, a word is as likely as of any faulty set.
    anything = known["other predicted"] ** len(observation.seen)
    moved = np.maximum(weighed.moved, flags > 0)
    predicted = weighed.predicted * chances
    return replace(
        weighed, predicted=predicted, otherwise=weighed.otherwise * anything, moved=moved
    )


def _limit_to_known(predicted: Numbers, otherwise: float, moved: Numbers) -> Weighed:
    """Return the weighed reading; where the model cannot tell, anything is as likely."""
    unknown = ~np.isfinite(predicted)
    return Weighed(
        np.where(unknown, otherwise, predicted),
        max(otherwise, 1e-9),
        np.where(np.isfinite(moved), moved, 1.0),
        _NOWHERE,
    )


def _weigh_nothing(shape: tuple[int, ...]) -> Weighed:
    """A word without a figure: the likelihood is all in the words."""
    return Weighed(np.ones(shape), 1.0, np.zeros(shape), _NOWHERE)


def _compute_moved(move: Numbers, tolerance: float) -> Numbers:
    """Return how surely a move shows against the spread of good boards."""
    return np.asarray(1 - np.exp(-((move / (2 * tolerance)) ** 2)))
