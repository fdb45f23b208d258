"""Two-sided tolerance intervals of readings by several shops, whose ways of reading differ."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from statistics import NormalDist, fmean, stdev, variance
from typing import Final

_NORMAL: Final = NormalDist()
_TYPICAL_SHOP_EFFECT: Final = 0.5  # of the readings' spread within a shop


def compute_shop_interval(
    groups: Sequence[Sequence[float]],
    least_deviation: float = 0.0,
    coverage: float = 0.90,
    confidence: float = 0.95,
) -> tuple[float, float]:
    """Return the interval that holds ``coverage`` of the readings of any shop, with confidence.

    ``groups`` holds the readings of each shop. A reading is the sum of the population's mean, the
    shop's effect and the set's; both effects are normal. Let S2 be the variance of the k shops'
    means, M the variance within shops and h the harmonic mean of their numbers of readings. Then

        T = S2 + (1 - 1/h) M

    estimates the whole variance (unweighted sums of squares: J. D. Thomas and R. A. Hultquist,
    Annals of Statistics 6, 1978). The interval is the mean of the means plus or minus

        z sqrt(U (1 + S2 / (k T))),

    where z is the normal quantile of the coverage and U the upper confidence bound of the whole
    variance by modified large samples (R. K. Burdick and F. A. Graybill, Confidence Intervals on
    Variance Components, 1992): D. Hoffman and R. Kringle, Two-Sided Tolerance Intervals for
    Balanced and Unbalanced Random Effects Models, Journal of Biopharmaceutical Statistics 15, 2005
    (all from memory). With one reading a shop it is Howe's interval. No standard deviation counts
    as less than ``least_deviation``. Raises ValueError for fewer than two shops.
    """
    if len(groups) < 2:
        raise ValueError("one shop gives no interval for the readings of others; take at least 2")
    shops, readings = len(groups), sum(map(len, groups))
    shop_means = [fmean(group) for group in groups]
    between = max(variance(shop_means), least_deviation**2)  # S2
    within = max(_compute_variance_within(groups), least_deviation**2)  # M
    readings_a_shop = shops / sum(1 / len(group) for group in groups)  # h
    whole = between + (1 - 1 / readings_a_shop) * within  # T
    upper_bound = _bound_variance(between, within, shops, readings, readings_a_shop, confidence)
    normal_quantile = _NORMAL.inv_cdf((1 + coverage) / 2)
    reach = normal_quantile * math.sqrt(upper_bound * (1 + between / (shops * whole)))
    centre = fmean(shop_means)
    return centre - reach, centre + reach


def compute_mean_bounds(
    groups: Sequence[Sequence[float]], least_deviation: float = 0.0, confidence: float = 0.95
) -> tuple[float, float]:
    """Return the confidence interval of the mean over all shops, from the means of two or more.

    The mean of the shops' means, plus or minus Student's t times their standard error.
    """
    means = [fmean(group) for group in groups]
    error = max(stdev(means), least_deviation) / math.sqrt(len(means))
    reach = _compute_student_quantile(len(means) - 1, confidence) * error
    return fmean(means) - reach, fmean(means) + reach


def _compute_variance_within(groups: Sequence[Sequence[float]]) -> float:
    """Return the pooled variance within groups; 0 where each has one reading."""
    freedom = sum(map(len, groups)) - len(groups)
    squares = sum(variance(group) * (len(group) - 1) for group in groups if len(group) > 1)
    return squares / freedom if freedom else 0.0


def _bound_variance(
    between: float,
    within: float,
    shops: int,
    readings: int,
    readings_a_shop: float,
    confidence: float,
) -> float:
    """Return the upper confidence bound of the whole variance; names as ``compute_shop_interval``.

    Few readings within shops bound the variance within badly. The whole variance is at most h times
    the expectation of S2, so that S2 alone bounds it, too. Which bound is taken depends only on the
    numbers of readings, never on their values, and leaves the confidence as it is.
    """
    excess_between = _compute_excess(shops, confidence)
    freedom_within = readings - shops
    if not freedom_within:
        return between * (1 + excess_between)
    excess_within = _compute_excess(freedom_within + 1, confidence)

    def bound_by_both(between: float, within: float) -> float:
        rest = (1 - 1 / readings_a_shop) * within
        return between + rest + math.hypot(excess_between * between, excess_within * rest)

    # S2 over M, expected at a shop effect half as large as the readings' spread within a shop.
    typical_between = _TYPICAL_SHOP_EFFECT**2 + 1 / readings_a_shop
    typical_bound = readings_a_shop * typical_between * (1 + excess_between)
    if typical_bound < bound_by_both(typical_between, 1.0):
        return readings_a_shop * between * (1 + excess_between)
    return bound_by_both(between, within)


@lru_cache(maxsize=256)
def _compute_excess(readings: int, confidence: float) -> float:
    """Return f / q - 1, where q is the lower quantile of chi-squared with f degrees of freedom."""
    freedom = readings - 1
    low, high = 0.0, float(freedom)
    while high - low > 1e-12 * high:
        middle = (low + high) / 2
        is_below = _compute_chi_squared_tail(middle, readings) > confidence
        low, high = (middle, high) if is_below else (low, middle)
    return freedom / high - 1


def _compute_chi_squared_tail(x: float, readings: int) -> float:
    """Return the probability that chi-squared of ``readings`` - 1 degrees of freedom exceeds x.

    Source: Abramowitz & Stegun, 26.4.4 and 26.4.5, the finite sums for whole degrees of freedom.
    """
    freedom, half_x = readings - 1, max(x / 2, 1e-300)
    powers = (freedom % 2 / 2 + n for n in range(freedom // 2))
    log_half_x = math.log(half_x)
    tail = sum(math.exp(power * log_half_x - half_x - math.lgamma(power + 1)) for power in powers)
    return tail + math.erfc(math.sqrt(half_x)) if freedom % 2 else tail


@lru_cache(maxsize=256)
def _compute_student_quantile(freedom: int, confidence: float) -> float:
    """Return t for which Student's variable lies within ± t with this probability."""
    low, high = 0.0, 1.0
    while _compute_student_share(high, freedom) < confidence:
        low, high = high, 2 * high
    while high - low > 1e-12 * high:
        middle = (low + high) / 2
        is_below = _compute_student_share(middle, freedom) < confidence
        low, high = (middle, high) if is_below else (low, middle)
    return high


def _compute_student_share(t: float, freedom: int) -> float:
    """Return the probability that Student's variable lies within ± t.

    Source: Abramowitz & Stegun, 26.7.3 and 26.7.4, the finite sums for whole degrees of freedom.
    """
    angle = math.atan(t / math.sqrt(freedom))
    is_odd = freedom % 2
    term = total = math.cos(angle) if is_odd else 1.0
    for power in range(2 + is_odd, freedom - 1, 2):
        term *= math.cos(angle) ** 2 * (power - 1) / power
        total += term
    if not is_odd:
        return math.sin(angle) * total
    # One degree of freedom is the Cauchy distribution: the arc tangent alone.
    return 2 / math.pi * (angle + (math.sin(angle) * total if freedom > 1 else 0.0))
