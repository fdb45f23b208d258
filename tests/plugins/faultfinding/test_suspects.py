"""Readings to suspects: what any readings must obey, and cases of the demonstration chips."""

from __future__ import annotations

import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.faultfinding.failures import fault_dictionary
from pinfolio.plugins.faultfinding.hypotheses import Hypothesis, hypotheses, usual_odds
from pinfolio.plugins.faultfinding.outcomes import Predictions, predictions
from pinfolio.plugins.faultfinding.points import OUTCOMES, Point
from pinfolio.plugins.faultfinding.suspects import Observation, Posterior, posterior, replaced
from pinfolio.schema import Chip


def demo_chip(stem: str) -> Chip:
    return load_chip(next(path for path in chip_files() if path.stem == stem))


def predicted_for(stem: str, condition: str) -> Predictions:
    chip = demo_chip(stem)
    dictionary = fault_dictionary(chip, condition)
    return predictions(chip, dictionary, hypotheses(chip, dictionary))


MONITOR = predicted_for("mdq3724", "colour bars")
DECODER = predicted_for("mdq2216", "colour bars")

readings = st.lists(
    st.builds(Observation, st.sampled_from(DECODER.points), st.sampled_from(OUTCOMES)),
    max_size=6,
    unique_by=lambda observation: observation.point,
)


def share(found: Posterior, what: str, failure: str = "") -> float:
    """Probability of a suspect, in whichever way or in this one."""
    return sum(
        float(probability)
        for hypothesis, probability in zip(found.predictions.hypotheses, found.each, strict=True)
        if hypothesis.what == what and hypothesis.failure.startswith(failure)
    )


@given(readings)
def test_one_fault_or_one_pair_holds(observations: list[Observation]) -> None:
    found = posterior(DECODER, observations)
    assert found.single.sum() + found.paired.sum() == pytest.approx(1)
    assert (found.single >= 0).all()
    assert (found.paired >= 0).all()


@given(readings)
def test_a_pair_is_two_different_faults_and_counts_once(observations: list[Observation]) -> None:
    found = posterior(DECODER, observations)
    np.testing.assert_array_equal(found.paired, np.triu(found.paired, k=1))


@given(readings)
def test_nothing_wrong_here_pairs_with_nothing(observations: list[Observation]) -> None:
    found = posterior(DECODER, observations)
    assert not found.paired[:, -1].any()
    assert not found.paired[-1].any()


@given(readings, st.randoms(use_true_random=False))
def test_the_order_of_readings_does_not_matter(
    observations: list[Observation], chance: random.Random
) -> None:
    other = observations.copy()
    chance.shuffle(other)
    np.testing.assert_allclose(
        posterior(DECODER, observations).each, posterior(DECODER, other).each, atol=1e-12
    )


@given(readings, st.sampled_from(DECODER.points))
def test_a_good_reading_clears_who_would_have_spoilt_it(
    observations: list[Observation], point: Point
) -> None:
    """Of any two, the reading goes for the one that makes it likelier: Bayes' rule."""
    observations = [o for o in observations if o.point != point]
    before = posterior(DECODER, observations).single
    after = posterior(DECODER, [*observations, Observation(point, "as expected")]).single
    right = DECODER.table[:, DECODER.points.index(point), 0]
    spoils, keeps = int(np.argmin(right)), int(np.argmax(right))
    assert after[spoils] * before[keeps] <= after[keeps] * before[spoils] * (1 + 1e-9)


@given(readings)
def test_the_order_of_hypotheses_does_not_matter(observations: list[Observation]) -> None:
    """Turned round, but for "none of these", which stays last."""
    count = len(DECODER.hypotheses) - 1
    order = [*reversed(range(count)), count]
    turned = Predictions(
        tuple(DECODER.hypotheses[at] for at in order), DECODER.points, DECODER.table[order]
    )
    np.testing.assert_allclose(
        posterior(turned, observations).each, posterior(DECODER, observations).each[order]
    )


@pytest.mark.parametrize("predicted", [MONITOR, DECODER], ids=["monitor", "decoder"])
def test_every_prediction_adds_up(predicted: Predictions) -> None:
    np.testing.assert_allclose(predicted.table.sum(axis=2), 1)
    assert predicted.table.min() > 0, "nothing is impossible: parts spread and readings slip"


def test_what_stages_may_put_up_with_shares_the_odds_of_the_hypothesis() -> None:
    """Carried on or put up with: two rows, and together the odds that there were."""
    chip = demo_chip("mdq2216")
    dictionary = fault_dictionary(chip, "colour bars")
    given_odds = {str(h): h.odds for h in hypotheses(chip, dictionary)}
    shared: dict[str, float] = {}
    for hypothesis in DECODER.hypotheses:
        shared[str(hypothesis)] = shared.get(str(hypothesis), 0) + hypothesis.odds
    assert shared == pytest.approx(given_odds)
    assert len(DECODER.hypotheses) > len(given_odds)


def test_a_dried_out_electrolytic_at_a_supply_may_show_as_hum() -> None:
    """C315 steadies VCC1 of the monitor's chip: its outputs hum, or the stages put up with it."""
    point = MONITOR.points.index(Point("pin 17", "vpp"))
    rows = [at for at, h in enumerate(MONITOR.hypotheses) if str(h) == "C315 dried out"]
    hums = [MONITOR.table[row, point, OUTCOMES.index("distorted")] for row in rows]
    assert max(hums) > 0.4
    assert min(hums) < 0.1


def test_without_readings_the_odds_stand() -> None:
    odds = np.array([hypothesis.odds for hypothesis in DECODER.hypotheses])
    found = posterior(DECODER, [])
    np.testing.assert_allclose(found.single / found.single.sum(), odds / odds.sum())
    assert found.paired.sum() < usual_odds()["second fault"]


def test_an_open_coupling_capacitor_is_found_by_three_readings() -> None:
    """Signal at the socket, none at pin 2, whose DC is right: C302 (chip file)."""
    found = posterior(
        MONITOR,
        [
            Observation(Point("socket-a-green", "vpp"), "as expected"),
            Observation(Point("pin 2", "vpp"), "missing"),
            Observation(Point("pin 2", "dc"), "as expected"),
        ],
    )
    (first, probability), (_, next_best) = found.ranked(2)
    assert str(first) == "C302 open"
    assert probability > 3 * next_best


def test_a_missing_signal_before_the_capacitor_clears_it() -> None:
    missing = Observation(Point("pin 2", "vpp"), "missing")
    before = Observation(Point("socket-a-green", "vpp"), "missing")
    assert share(posterior(MONITOR, [missing, before]), "C302") < 0.2 * share(
        posterior(MONITOR, [missing]), "C302"
    )


def test_the_likeliest_pair_is_what_explains_both() -> None:
    """Red and green lost behind good sockets: no single part takes both, two capacitors do."""
    found = posterior(
        MONITOR,
        [
            Observation(Point(at, quantity), outcome)
            for at, quantity, outcome in (
                ("socket-a-green", "vpp", "as expected"),
                ("pin 2", "vpp", "missing"),
                ("pin 2", "dc", "as expected"),
                ("pin 4", "vpp", "missing"),
                ("pin 4", "dc", "as expected"),
                ("pin 6", "vpp", "as expected"),
            )
        ],
    )
    pair = np.unravel_index(np.argmax(found.paired), found.paired.shape)
    assert {str(MONITOR.hypotheses[at]) for at in pair} == {"C301 open", "C302 open"}


def test_readings_that_nothing_explains_are_named() -> None:
    """A pin off frequency that nothing known moves: to be taken again."""
    point = Point("pin 2", "vpp")
    odd = Observation(point, "unstable")
    column = MONITOR.points.index(point)
    assert MONITOR.table[:, column, OUTCOMES.index("unstable")].max() < 0.2
    assert odd in posterior(MONITOR, [odd]).contradictions


def test_what_the_one_clear_suspect_does_not_explain_is_to_be_taken_again() -> None:
    """All says C302 open, but for one far pin: that reading, and no other, is doubted."""
    told = (
        ("socket-a-green", "vpp", "as expected"),
        ("pin 2", "vpp", "missing"),
        ("pin 2", "dc", "as expected"),
        ("pin 17", "vpp", "missing"),
        ("pin 15", "vpp", "as expected"),
    )
    clear = [Observation(Point(at, quantity), outcome) for at, quantity, outcome in told]
    odd = Observation(Point("pin 4", "dc"), "too high")
    assert posterior(MONITOR, clear).contradictions == ()
    assert posterior(MONITOR, [*clear, odd]).contradictions == (odd,)


def two_points_lost() -> Predictions:
    """A part that silences two points, or nothing wrong; one reading in a hundred slips."""
    good, lost = np.full(len(OUTCOMES), 0.01 / 6), np.full(len(OUTCOMES), 0.01 / 6)
    good[0], lost[OUTCOMES.index("missing")] = 0.99, 0.99
    part = Hypothesis("part", "C1", "open", 1.0)
    points = (Point("pin 1", "vpp"), Point("pin 2", "vpp"))
    none = Hypothesis("none", "none", "", 5.0)
    return Predictions((part, none), points, np.array([[lost, lost], [good, good]]))


def test_a_clear_suspect_that_rests_on_one_reading_says_which() -> None:
    """Read wrongly, it would blame a good part."""
    predicted = two_points_lost()
    one = Observation(predicted.points[0], "missing")
    found = posterior(predicted, [one])
    assert found.each[0] > 0.9
    assert found.rests_on == (one,)


def test_two_signs_of_one_fault_rest_on_neither() -> None:
    predicted = two_points_lost()
    found = posterior(predicted, [Observation(point, "missing") for point in predicted.points])
    assert found.rests_on == ()


@given(readings)
def test_what_was_read_in_one_go_carries_what_the_others_do_not(
    observations: list[Observation],
) -> None:
    """What a place is said to carry is what the others give without it."""
    found = posterior(DECODER, observations)
    thing, _ = found.leading
    if found.rests_on:
        others = posterior(DECODER, [o for o in observations if o not in found.rests_on])
        left = [replaced(h) == thing for h in DECODER.hypotheses]
        without = others.single[left].sum() + others.paired[np.logical_or.outer(left, left)].sum()
        assert without < 0.8


def test_a_reading_taken_again_that_agrees_is_rested_on() -> None:
    """Twice the same slip is hardly likely."""
    predicted = two_points_lost()
    one = Observation(predicted.points[0], "missing")
    once, twice = posterior(predicted, [one]), posterior(predicted, [one, one])
    assert twice.rests_on == ()
    assert twice.each[0] > once.each[0]


def test_a_reading_taken_again_that_differs_leaves_things_open() -> None:
    predicted = two_points_lost()
    both = [Observation(predicted.points[0], outcome) for outcome in ("missing", "as expected")]
    odds = [hypothesis.odds for hypothesis in predicted.hypotheses]
    np.testing.assert_allclose(
        posterior(predicted, both).single, np.array(odds) / sum(odds), atol=1e-12
    )


def test_a_reading_that_is_always_mistaken_says_nothing() -> None:
    predicted = two_points_lost()
    nothing = Observation(predicted.points[0], "missing", mistaken=1.0)
    np.testing.assert_allclose(posterior(predicted, [nothing]).each, posterior(predicted, []).each)


def test_what_cannot_be_taken_again_is_not_asked_for_again() -> None:
    predicted = two_points_lost()
    symptom = Observation(predicted.points[0], "missing", mistaken=0.0)
    assert posterior(predicted, [symptom]).rests_on == ()


@given(readings)
def test_a_part_fails_in_one_way_only(observations: list[Observation]) -> None:
    names = [(hypothesis.sort, hypothesis.what) for hypothesis in DECODER.hypotheses]
    paired = posterior(DECODER, observations).paired
    assert not any(
        paired[first, second] for second in range(len(names)) for first in range(second)
        if names[first] == names[second]
    )  # fmt: skip


def test_why_names_every_reading() -> None:
    observations = [
        Observation(Point("pin 2", "vpp"), "missing"),
        Observation(Point("pin 2", "dc"), "as expected"),
    ]
    found = posterior(MONITOR, observations)
    told = found.because(found.ranked(1)[0][0])
    assert len(told) == len(observations)
    assert "pin 2" in told[0]
    assert "missing" in told[0]
