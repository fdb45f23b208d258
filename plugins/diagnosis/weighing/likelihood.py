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
from .spreads import PredictionSpread, Spreads

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
_RIPPLE_TOLERANCE: Final = 0.5  # natural logarithms between good boards
_LEAST_CERTAIN: Final = 0.5  # of a value, the most that an uncertainty counts
_VERDICT_SIGMA: Final = 2.5  # from a good figure to one that is called wrong
_VERDICT_SHARE: Final = 0.2  # the same of a figure, where no tolerance is known
_MISSING_SHARE: Final = 0.1  # of a good figure, or of a volt: less is called missing
_ENDLESS: Final = 1e6
_LEAST_LIMIT: Final = 1e-9
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
    """Return an observation weighed by the rule of its quantity, with its words."""
    chip, trust, column = same_chip.value, same_trust.value, cloud.column[observation.point]
    weigh_by_quantity = {"dc": _weigh_dc, "frequency": _weigh_frequency}
    weigh_figure = weigh_by_quantity.get(observation.quantity, _weigh_amplitude)
    weighed = weigh_figure(chip, cloud, spreads, column, observation, trust)
    if observation.as_read is not None:
        # Nobody knows how far the probe really loaded it, or the one the catalogue was made with.
        uncorrected = replace(observation, value=observation.as_read, as_read=None)
        other = weigh_figure(chip, cloud, spreads, column, uncorrected, trust)
        weighed = _weigh_either(weighed, other)
    # Of DC and ripple the parts always tell; only a signal may be wrong as a whole.
    is_signal = observation.quantity not in ("dc", "ripple")
    doubt = float(spreads.doubt[column]) if is_signal else 0.0
    weighed = replace(weighed, near=spreads.near[:, column, None], doubt=doubt)
    is_gone = observation.verdict == "missing" or (
        observation.quantity == "vpp"
        and observation.value is not None
        and observation.value <= spreads.floor_v[column]
    )
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
    """Return a DC reading weighed, in volts: a prediction spreads by the fault's move as well."""
    volts = cloud.dc_v[:, :, column].astype(float)  # hypotheses x draws
    good_v = volts[0]
    move_v = np.abs(volts - good_v)
    tolerance_v = spreads.dc_v[column]
    good_spread_v = np.hypot(tolerance_v, observation.uncertainty)
    spread = PredictionSpread.make(
        trust, "dc", good_spread_v, move_v * _compute_closeness(spreads, column)
    )
    zero_v = float(np.hypot(_METER_ZERO_V, observation.uncertainty))
    spread = _narrow_pinned(spread, volts, move_v, zero_v)
    low_v, high_v = _find_bounds(chip, cloud, observation, float(np.nanmean(good_v)), tolerance_v)
    if low_v is not None and high_v is not None:
        predicted = spread.compute_probability(low_v, high_v, volts)
        tolerances_v = np.full_like(good_v, tolerance_v)
        in_good_set = compute_interval_probability(low_v, high_v, good_v, tolerances_v)
        anything = compute_anything_chance(spreads, low_v, high_v)
    elif observation.value is not None:
        predicted = spread.compute_density(observation.value, volts)
        in_good_set = compute_normal_density(observation.value, good_v, good_spread_v)
        anything = compute_anything_density(spreads, observation.value)
    else:
        return _weigh_nothing(volts.shape)
    otherwise = _mix_otherwise(trust, float(np.mean(in_good_set)), anything)
    return _limit_to_known(predicted, otherwise, _compute_moved(move_v, tolerance_v))


def _narrow_pinned(
    around: PredictionSpread, volts: Numbers, move: Numbers, least_v: float
) -> PredictionSpread:
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
    """Return a reading peak to peak weighed, in natural logarithms.

    Below the floor, where noise begins, there is no signal.
    """
    is_signal = observation.quantity == "vpp"
    shown_vpp = cloud.ripple_vpp[:, :, column].astype(float)  # hypotheses x draws
    if is_signal:
        # An oscilloscope shows the signal, or the ripple where that is larger.
        shown_vpp = np.fmax(cloud.vpp_v[:, :, column].astype(float), shown_vpp)
    floor_v = spreads.floor_v[column]
    level = np.log(np.maximum(shown_vpp, floor_v / 2))
    good_level = level[0]
    move = np.abs(level - good_level)
    tolerance = spreads.vpp[column] if is_signal else _RIPPLE_TOLERANCE
    value = _read_amplitude(observation, floor_v)
    reading_share = min(observation.uncertainty / value, _LEAST_CERTAIN) if value else 0.0
    good_spread = np.hypot(tolerance, reading_share)
    counted_move = np.minimum(move, _FAR) * _compute_closeness(spreads, column)
    spread = PredictionSpread.make(trust, "vpp", good_spread, counted_move)
    if value is not None and value <= floor_v:
        predicted = spread.compute_probability(-np.inf, float(np.log(floor_v)), level)
        in_good_set, anything = predicted[0], _GONE
    elif value is not None:
        predicted = spread.compute_density(float(np.log(value)), level)
        in_good_set = compute_normal_density(np.log(value), good_level, good_spread)
        anything = _ANYTHING
    else:
        good_vpp = float(np.exp(np.nanmean(good_level)))
        low_v, high_v = _find_bounds(chip, cloud, observation, good_vpp, None)
        if low_v is None or high_v is None:
            return _weigh_nothing(shown_vpp.shape)
        lowest, highest = _take_logarithms(low_v, high_v)
        predicted = spread.compute_probability(lowest, highest, level)
        in_good_set, anything = predicted[0], _ANY_VERDICT
    otherwise = _mix_otherwise(trust, float(np.mean(in_good_set)), anything)
    return _limit_to_known(predicted, otherwise, _compute_moved(move, tolerance))


def _take_logarithms(low: float, high: float) -> tuple[float, float]:
    """Return the natural logarithms of two limits; one at or below zero counts as the least."""
    return float(np.log(max(low, _LEAST_LIMIT))), float(np.log(max(high, _LEAST_LIMIT)))


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
    """Return a count weighed, in natural logarithms.

    Where nothing is to be counted a counter may show anything.
    """
    hertz = cloud.frequency_hz[:, :, column]  # hypotheses x draws
    vpp = np.nan_to_num(cloud.vpp_v[:, :, column].astype(float))
    is_none = ~np.isfinite(hertz) | (hertz <= 0) | (vpp <= spreads.count_floor_v[column])
    level = np.log(np.where(is_none, 1.0, hertz))
    healthy_hz = cloud.healthy_frequency_hz[column]
    has_healthy = bool(np.isfinite(healthy_hz) and healthy_hz > 0)
    healthy_level = float(np.log(healthy_hz)) if has_healthy else 0.0
    good_level = np.where(is_none[0], healthy_level, level[0])
    move = np.where(is_none, 1.0, np.abs(level - good_level))
    tolerance = spreads.frequency[column]
    reading_share = observation.uncertainty / observation.value if observation.value else 0.0
    # A frequency that jumps is counted anew each time.
    is_jumping = (cloud.words[:, :, column] & Seen.UNSTABLE) > 0
    jitter_variance = np.where(is_jumping, _JITTER**2, 0.0)
    own_spread = np.sqrt(tolerance**2 + reading_share**2 + jitter_variance)
    spread = PredictionSpread.make(trust, "frequency", own_spread, np.minimum(move, _FAR))
    if observation.verdict == "missing":
        predicted = np.where(is_none, _NO_COUNT, _STRAY_COUNT)
        in_good_set, anything = float(predicted[0].mean()), _GONE
    elif observation.value is not None and observation.value > 0:
        count = float(np.log(observation.value))
        predicted = np.where(is_none, _ANY_COUNT, spread.compute_density(count, level))
        good_spread = np.hypot(tolerance, reading_share)
        good_density = compute_normal_density(count, good_level, good_spread)
        in_good_set, anything = float(np.mean(good_density)) * has_healthy, _ANYTHING
    else:
        healthy = float(np.exp(healthy_level))
        bounds = _find_bounds(chip, cloud, observation, healthy, None)
        if bounds[0] is None or bounds[1] is None or not has_healthy:
            return _weigh_nothing(is_none.shape)
        limits = _take_logarithms(bounds[0], bounds[1])
        predicted = _predict_count_verdict(spread, level, is_none, limits, observation.verdict)
        in_good_set, anything = float(predicted[0].mean()), _ANY_VERDICT
    otherwise = _mix_otherwise(trust, in_good_set, anything)
    return _limit_to_known(predicted, otherwise, _compute_moved(move, tolerance))


def _predict_count_verdict(
    spread: PredictionSpread,
    level: Numbers,
    is_none: NDArray[np.bool_],
    limits: tuple[float, float],
    verdict: str | None,
) -> Numbers:
    """Return the probability of a verdict on a count, in natural logarithms, on each board.

    ``is_none`` marks the boards where nothing is to be counted.
    """
    inside = np.where(is_none, _STRAY_WITHIN, spread.compute_probability(*limits, level))
    # Any count outside the limits is called so.
    if verdict == "off frequency":
        return np.where(is_none, _STRAY_BESIDE, 1 - inside)
    return inside


def _mix_otherwise(trust: ModelTrust, in_good_set: float, anything: float) -> float:
    """Return the density of a reading that the model does not explain: good, or anything."""
    return trust.then_good * in_good_set + (1 - trust.then_good) * anything


def _find_bounds(
    chip: Chip, cloud: Cloud, observation: Observation, good: float, tolerance: float | None
) -> tuple[float | None, float | None]:
    """Return the range of magnitudes behind a verdict, as a technician compares them.

    ``good`` and ``tolerance`` are used where the chip's data state no limits; (None, None) for an
    observation without a verdict.
    """
    if observation.verdict is None:
        return None, None
    limits = find_point_limits(chip, observation.point, cloud.condition).get(observation.quantity)
    half = _VERDICT_SIGMA * tolerance if tolerance is not None else _VERDICT_SHARE * abs(good)
    low, high = (limits.low, limits.high) if limits else (good - half, good + half)
    if observation.verdict in ("as expected", "off frequency"):
        return low, high
    if observation.verdict == "missing":
        nothing = max(_MISSING_SHARE * abs(good), _MISSING_SHARE)
        return -nothing, nothing
    # A negative rail that is "too low" lies nearer to zero.
    is_towards_zero = observation.verdict == "too low"
    if good >= 0:
        return (-_ENDLESS, low) if is_towards_zero else (high, _ENDLESS)
    return (high, _ENDLESS) if is_towards_zero else (-_ENDLESS, low)


def _add_words(
    cloud: Cloud,
    column: int,
    observation: Observation,
    weighed: Weighed,
    trust: ModelTrust,
    is_gone: bool,
) -> Weighed:
    """Return the same with the words for its look besides the figure: both count.

    Of a signal that is gone nobody says how it looks.
    """
    is_signal = observation.quantity in ("vpp", "frequency")
    if not is_signal and not observation.seen:
        return weighed
    flags = cloud.words[:, :, column].astype(int)  # hypotheses x draws
    if observation.quantity == "frequency":
        # A counter shows that a frequency jumps, and nothing else of a signal's look.
        flags = flags & Seen.UNSTABLE
    chances, word_chances = np.ones(flags.shape), trust.words
    for word in observation.seen:
        is_predicted, is_similar = (flags & _WORDS[word]) > 0, (flags & _KIN[word]) > 0
        other_chance = np.where(
            is_similar, word_chances["other predicted"], word_chances["none predicted"]
        )
        chances *= np.where(is_predicted, word_chances["predicted"], other_chance)
    if not observation.seen and not is_gone:
        # "Steady" denies a look; no word at all says little.
        key = "none predicted" if observation.is_steady else "nothing said of"
        chances *= np.where(flags > 0, word_chances[key], 1.0)
    # Where the model is wrong, a word is as likely as of any faulty set.
    any_chance = word_chances["other predicted"] ** len(observation.seen)
    return replace(
        weighed,
        predicted=weighed.predicted * chances,
        otherwise=weighed.otherwise * any_chance,
        moved=np.maximum(weighed.moved, flags > 0),
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
