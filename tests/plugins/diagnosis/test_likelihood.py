"""One reading under every simulated board: normal probabilities, and words for what is not there.

Quantiles of the normal distribution are scipy's.
"""

from __future__ import annotations

import numpy as np
import pytest
from made_cloud import Good, Made, make_cloud
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.evidence.observations import Evidence, Observation
from pinfolio.plugins.diagnosis.weighing.likelihood import Weighed, weigh
from pinfolio.plugins.diagnosis.weighing.pictures import _SHARPNESS, _step_softly
from pinfolio.plugins.diagnosis.weighing.posterior import NONE, compute_posterior
from pinfolio.plugins.diagnosis.weighing.spreads import compute_spreads
from scipy import stats

CHIP = load_chip(next(path for path in chip_files() if path.stem == "kye2620"))
GOOD = {
    "pin 2": Good(dc=6.0, vpp=3.0, hz=15625.0),
    "sync-feed": Good(dc=4.0),  # of which the chip file states nothing
}
FAULTS = [
    Made("part", "C501", "open", dc={"pin 2": 3.0}, vpp={"pin 2": 0.0}, hz={"pin 2": np.nan}),
    Made("part", "R501", "value high", dc={"pin 2": 5.0}, hz={"pin 2": 14000.0}),
]
CLOUD = make_cloud(CHIP.part, "colour bars", GOOD, FAULTS)
SPREADS = compute_spreads(CHIP, CLOUD)


def weigh_one(at: str, quantity: str, **fields: object) -> Weighed:
    return weigh(CHIP, CLOUD, SPREADS, Observation(at, quantity, **fields))  # type: ignore[arg-type]


def test_where_nothing_is_stated_right_is_within_two_and_a_half_deviations() -> None:
    found = weigh_one("sync-feed", "dc", verdict="as expected").predicted[0]
    assert found == pytest.approx(stats.norm.cdf(2.5) - stats.norm.cdf(-2.5), abs=1e-3)


@pytest.mark.parametrize("verdict", ["too low", "too high"])
def test_a_good_board_is_hardly_ever_called_too_low_or_too_high(verdict: str) -> None:
    found = weigh_one("sync-feed", "dc", verdict=verdict).predicted[0]
    assert found == pytest.approx(stats.norm.sf(2.5), abs=1e-3)


def test_of_an_unstated_point_good_boards_spread_by_a_share_and_two_of_the_least_steps() -> None:
    """At 0 V the share is nothing: 60 mV are left, what a meter and a ground drop leave open."""
    grounded = make_cloud(CHIP.part, "colour bars", {"sync-feed": Good(dc=0.0)}, [])
    assert compute_spreads(CHIP, grounded).dc_v[0] == pytest.approx(0.06)
    assert SPREADS.dc_v[1] > 0.06


def test_a_counter_that_counts_nothing_speaks_for_the_signal_that_is_gone() -> None:
    found = weigh_one("pin 2", "frequency", verdict="missing").predicted
    assert found[0].max() < 0.1, "a good signal is counted, but for one time in twelve"
    assert found[1].min() > 5 * found[0].max()
    assert found[2].max() < 0.1


def test_a_reading_is_likeliest_on_the_boards_that_predict_it() -> None:
    """A density falls with the square of the distance, in deviations."""
    at_good, at_fault = (
        weigh_one("pin 2", "dc", value=volts, uncertainty=0.02).predicted for volts in (6.0, 3.0)
    )
    assert at_good[0].mean() > 10 * at_good[1].mean()
    assert at_fault[1].mean() > 10 * at_fault[0].mean()


@pytest.mark.parametrize(("steps", "chance"), [(0, 0.5), (1, 0.880797), (-1, 0.119203)])
def test_a_soft_step_is_logistic_two_to_the_sharpness(steps: int, chance: float) -> None:
    """1 / (1 + exp(-2 x)), of which the values are printed in any table of the tanh."""
    assert float(_step_softly(0.6 + steps * _SHARPNESS, 0.6)) == pytest.approx(chance, abs=1e-6)


def test_a_wrong_reading_speaks_against_nothing_being_wrong_and_a_right_one_for_it() -> None:
    prior = np.full(len(CLOUD.hypotheses), 1 / len(CLOUD.hypotheses))

    def share_of_none(volts: float) -> float:
        seen = Observation("pin 2", "dc", value=volts, uncertainty=0.02)
        return compute_posterior(CHIP, CLOUD, SPREADS, prior, (), Evidence((seen,))).share_of(NONE)

    assert share_of_none(3.0) < prior[0] / 2
    assert share_of_none(6.0) > 2 * share_of_none(3.0)
