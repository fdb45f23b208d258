"""One reading under every simulated board: normal probabilities, and words for what is not there.

Quantiles of the normal distribution are scipy's.
"""

from __future__ import annotations

import numpy as np
import pytest
from made_cloud import Good, Made, make_cloud
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.board.cloud import Seen
from pinfolio.plugins.diagnosis.evidence.observations import Evidence, Observation
from pinfolio.plugins.diagnosis.weighing.anything import (
    compute_anything_chance,
    compute_anything_density,
)
from pinfolio.plugins.diagnosis.weighing.likelihood import Weighed, weigh
from pinfolio.plugins.diagnosis.weighing.model_trust import model_trust
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


# Faults that move nothing and make the trace look otherwise, and a rail below ground.
LOOKS = [
    Made("part", "C501", "leaky", words={"pin 2": Seen.DISTORTED}),
    Made("part", "C502", "leaky", words={"pin 2": Seen.CLIPPED}),
    Made("part", "R501", "open", words={"pin 2": Seen.UNSTABLE}),
    Made("part", "R502", "open", dc={"sync-feed": -1.0}),
    Made("part", "R503", "open", dc={"sync-feed": -7.0}),
    Made("part", "R504", "open", dc={"sync-feed": 0.0}),
]
LOOKING_GOOD = {
    "pin 2": Good(dc=6.0, vpp=3.0, hz=15625.0),
    "sync-feed": Good(dc=-4.0, vpp=1.0),
}
LOOKING = make_cloud(CHIP.part, "colour bars", LOOKING_GOOD, LOOKS)
LOOKING_SPREADS = compute_spreads(CHIP, LOOKING)
WORD_CHANCES = model_trust().words


def weigh_look(at: str, quantity: str, **fields: object) -> Weighed:
    observation = Observation(at, quantity, **fields)  # type: ignore[arg-type]
    return weigh(CHIP, LOOKING, LOOKING_SPREADS, observation)


def test_a_figure_that_the_model_is_wrong_about_is_as_in_a_good_set_or_anything() -> None:
    """The density of a good set is a normal one round its boards: meter and spread as squares."""
    spread_v = np.hypot(SPREADS.dc_v[0], 0.2)
    good = stats.norm.pdf(5.8, 6.0, spread_v)
    anything = compute_anything_density(SPREADS, 5.8)
    share = model_trust().then_good
    found = weigh_one("pin 2", "dc", value=5.8, uncertainty=0.2).otherwise
    assert found == pytest.approx(share * good + (1 - share) * anything, rel=1e-6)


def test_a_verdict_that_the_model_is_wrong_about_has_the_chance_of_its_range() -> None:
    half_v = 2.5 * SPREADS.dc_v[1]
    good = stats.norm.cdf(2.5) - stats.norm.cdf(-2.5)
    anything = compute_anything_chance(SPREADS, 4.0 - half_v, 4.0 + half_v)
    share = model_trust().then_good
    found = weigh_one("sync-feed", "dc", verdict="as expected").otherwise
    assert found == pytest.approx(share * good + (1 - share) * anything, rel=1e-3)


def test_a_signal_that_the_parts_alone_give_is_doubted_and_its_voltage_is_not() -> None:
    doubt = model_trust().unstated_signal["wrong"]
    assert weigh_look("sync-feed", "vpp", value=1.0).doubt == doubt
    assert weigh_look("pin 2", "vpp", value=3.0).doubt == 0.0
    assert weigh_look("sync-feed", "dc", value=-4.0, uncertainty=0.02).doubt == 0.0
    assert weigh_look("sync-feed", "ripple", value=0.01).doubt == 0.0


def test_a_word_counts_as_predicted_as_another_one_or_as_none() -> None:
    """Clipped is a way to be distorted; a steady good trace is neither."""
    plain = weigh_look("pin 2", "vpp", value=3.0, is_steady=True).predicted[0]
    seen = weigh_look("pin 2", "vpp", value=3.0, seen=("distorted",)).predicted
    assert seen[1] == pytest.approx(WORD_CHANCES["predicted"] * plain)
    assert seen[2] == pytest.approx(WORD_CHANCES["other predicted"] * plain)
    assert seen[0] == pytest.approx(WORD_CHANCES["none predicted"] * plain)


def test_a_trace_said_to_be_steady_denies_a_look_and_one_nothing_is_said_of_hardly() -> None:
    unsaid = weigh_look("pin 2", "vpp", value=3.0).predicted
    steady = weigh_look("pin 2", "vpp", value=3.0, is_steady=True).predicted
    assert unsaid[1] == pytest.approx(WORD_CHANCES["nothing said of"] * unsaid[0])
    assert steady[1] == pytest.approx(WORD_CHANCES["none predicted"] * steady[0])


def test_a_counter_shows_of_looks_only_that_the_frequency_jumps() -> None:
    counted = weigh_look("pin 2", "frequency", value=15625.0, uncertainty=1.0)
    assert counted.predicted[1] == pytest.approx(counted.predicted[0])
    assert counted.moved[1].max() == 0.0
    assert (counted.predicted[3] < counted.predicted[0]).all()
    assert counted.moved[3].min() == 1.0


def test_of_a_signal_at_the_noise_nobody_says_how_it_looks() -> None:
    floor_v = float(LOOKING_SPREADS.floor_v[0])
    gone = weigh_look("pin 2", "vpp", value=floor_v).predicted
    assert gone[1] == pytest.approx(gone[0])
    there = weigh_look("pin 2", "vpp", value=1.01 * floor_v).predicted
    assert there[1] == pytest.approx(WORD_CHANCES["nothing said of"] * there[0])


@pytest.mark.parametrize(("verdict", "row"), [("too low", 4), ("too high", 5), ("missing", 6)])
def test_a_negative_rail_that_is_too_low_lies_nearer_to_zero(verdict: str, row: int) -> None:
    predicted = weigh_look("sync-feed", "dc", verdict=verdict).predicted.mean(axis=1)
    assert predicted[row] > 0.4
    assert predicted[0] < 0.01


def test_nothing_to_count_is_a_stray_figure_or_none() -> None:
    """One count in ten is stray there, spread over seven natural logarithms."""
    counted = weigh_one("pin 2", "frequency", value=15625.0, uncertainty=1.0).predicted
    assert counted[1] == pytest.approx(0.1 / 7)
    spread = np.hypot(SPREADS.frequency[0], 1.0 / 15625.0)
    assert counted[0] == pytest.approx(stats.norm.pdf(0.0, 0.0, spread), rel=1e-6)


def test_a_move_by_one_spread_of_good_boards_hardly_shows_and_one_by_four_does() -> None:
    """1 - exp(-(x / 2)^2): 0.2212 and 0.9817 in any table of the exponential function."""
    spread_v = float(SPREADS.dc_v[1])
    moves = {"C501": 4.0 + spread_v, "C502": 4.0 + 4 * spread_v}
    faults = [Made("part", ref, "open", dc={"sync-feed": volts}) for ref, volts in moves.items()]
    cloud = make_cloud(CHIP.part, "colour bars", GOOD, faults)
    observation = Observation("sync-feed", "dc", value=4.0, uncertainty=0.02)
    moved = weigh(CHIP, cloud, compute_spreads(CHIP, cloud), observation).moved
    assert moved.mean(axis=1) == pytest.approx([0.0, 0.2212, 0.9817], abs=2e-4)


def test_an_unstated_amplitude_is_as_expected_within_a_fifth_of_it() -> None:
    spread = LOOKING_SPREADS.vpp[1]
    found = weigh_look("sync-feed", "vpp", verdict="as expected", is_steady=True).predicted[0]
    within = stats.norm.cdf(np.log(1.2) / spread) - stats.norm.cdf(np.log(0.8) / spread)
    assert found == pytest.approx(within, rel=1e-3)
