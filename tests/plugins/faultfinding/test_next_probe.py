"""Where to probe next: never where it hurts, never for nothing, most bits for the effort first."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.cards.cautions import may_probe
from pinfolio.plugins.faultfinding.failures import fault_dictionary
from pinfolio.plugins.faultfinding.hypotheses import hypotheses
from pinfolio.plugins.faultfinding.next_probe import expected_bits, proposals
from pinfolio.plugins.faultfinding.other_tests import with_tests_at
from pinfolio.plugins.faultfinding.outcomes import Predictions, predictions
from pinfolio.plugins.faultfinding.points import OUT_OF_CIRCUIT, OUTCOMES, Point
from pinfolio.plugins.faultfinding.set_off import set_off
from pinfolio.plugins.faultfinding.suspects import Observation, posterior
from pinfolio.schema import Chip, Hazard


def demo_chip(stem: str) -> Chip:
    return load_chip(next(path for path in chip_files() if path.stem == stem))


def predicted_for(chip: Chip, condition: str) -> Predictions:
    dictionary = fault_dictionary(chip, condition)
    return predictions(chip, dictionary, hypotheses(chip, dictionary))


MONITOR = demo_chip("mdq3724")
PREDICTED = predicted_for(MONITOR, "colour bars")
observations = st.lists(
    st.builds(Observation, st.sampled_from(PREDICTED.points), st.sampled_from(OUTCOMES)),
    max_size=5,
    unique_by=lambda observation: observation.point,
)

tables = arrays(
    float,
    st.tuples(st.integers(1, 6), st.integers(1, 4), st.integers(2, 5)),
    elements=st.floats(0, 1),
)


def shares(weights: np.ndarray) -> np.ndarray:
    """Made to add up to one along the last axis; all alike where there is nothing."""
    total = weights.sum(axis=-1, keepdims=True)
    alike = np.full_like(weights, 1 / weights.shape[-1])
    return np.where(total > 1e-9, weights / np.maximum(total, 1e-9), alike)


@given(tables, st.data())
def test_information_is_never_negative_nor_more_than_there_is(
    table: np.ndarray, data: st.DataObject
) -> None:
    """Between nothing and both entropies: Cover and Thomas, Elements of Information Theory, 2.5."""
    weights = shares(data.draw(arrays(float, table.shape[0], elements=st.floats(0, 1))))
    bits = expected_bits(shares(table), weights)
    assert (bits >= 0).all()
    certain = weights[weights > 0]
    assert (bits <= -(certain * np.log2(certain)).sum() + 1e-9).all()
    assert (bits <= np.log2(table.shape[2]) + 1e-9).all()


@given(tables)
def test_nothing_is_learnt_where_every_suspect_reads_alike(table: np.ndarray) -> None:
    same = np.repeat(shares(table)[:1], 4, axis=0)
    np.testing.assert_allclose(expected_bits(same, np.full(4, 0.25)), 0, atol=1e-9)


def test_one_bit_tells_two_suspects_apart() -> None:
    table = np.array([[[1.0, 0.0]], [[0.0, 1.0]]])
    assert expected_bits(table, np.array([0.5, 0.5])) == pytest.approx(1.0)


@given(observations)
def test_the_order_is_by_bits_for_the_effort(taken: list[Observation]) -> None:
    found = proposals(MONITOR, posterior(PREDICTED, taken))
    merits = [proposal.bits / proposal.effort for proposal in found]
    assert merits == sorted(merits, reverse=True)


@given(observations)
def test_nothing_is_measured_twice(taken: list[Observation]) -> None:
    measured = {observation.point for observation in taken}
    assert not measured & {p.point for p in proposals(MONITOR, posterior(PREDICTED, taken))}


@given(observations)
def test_outcomes_are_chances_the_likeliest_first(taken: list[Observation]) -> None:
    for proposal in proposals(MONITOR, posterior(PREDICTED, taken)):
        chances = [outcome.chance for outcome in proposal.outcomes]
        assert chances == sorted(chances, reverse=True)
        assert 0.8 < sum(chances) <= 1 + 1e-9


@pytest.mark.parametrize("stem", sorted(path.stem for path in chip_files()))
def test_a_point_marked_dangerous_is_never_proposed(stem: str) -> None:
    """All that is worth measuring, asked for at once; and what would come first, once marked."""
    chip = demo_chip(stem)
    condition = chip.conditions[-1].name
    found = posterior(predicted_for(chip, condition), [])
    offered = proposals(chip, found, most=1000)
    assert all(may_probe(chip, proposal.point.at) for proposal in offered)
    if offered:
        best = offered[0].point.at
        marked = Hazard(kind="high voltage", at=best, caution="Keep off.", probe=False)
        dangerous = chip.model_copy(update={"hazards": (*chip.hazards, marked)})
        assert best not in {p.point.at for p in proposals(dangerous, found, most=1000)}


def test_it_stops_when_nothing_more_separates_the_suspects() -> None:
    """With every point measured there is nothing left to propose."""
    everything = [Observation(point, "as expected") for point in PREDICTED.points]
    assert proposals(MONITOR, posterior(PREDICTED, everything)) == []


def test_a_missing_signal_is_followed_towards_its_source() -> None:
    """Pin 2 has lost its signal: the socket before its capacitor tells which side is to blame."""
    found = posterior(PREDICTED, [Observation(Point("pin 2", "vpp"), "missing")])
    assert "socket-a-green" in {proposal.point.at for proposal in proposals(MONITOR, found)}


def test_what_gave_no_answer_is_not_asked_again() -> None:
    found = posterior(PREDICTED, [])
    first = proposals(MONITOR, found)[0].point
    assert first not in {proposal.point for proposal in proposals(MONITOR, found, tried={first})}


def test_the_clear_suspect_is_lifted_before_it_is_replaced() -> None:
    """When nothing else tells more, the part itself does; once it has, nothing is asked."""
    lifted = [Point("C302", OUT_OF_CIRCUIT)]
    predicted = with_tests_at(MONITOR, set_off(MONITOR), PREDICTED, lifted)
    missing = [Observation(Point("pin 2", "vpp"), "missing")] * 2
    tried = set(PREDICTED.points)  # all there is on the board was measured
    found = posterior(
        predicted, [*missing, Observation(Point("socket-a-green", "vpp"), "as expected")]
    )
    assert found.leading[0] == ("part", "C302")
    (proof,) = proposals(MONITOR, found, tried=tried)
    assert proof.point == lifted[0]
    open_indeed = posterior(predicted, [*found.observations, Observation(lifted[0], "open")])
    assert proposals(MONITOR, open_indeed, tried=tried) == []
    assert open_indeed.rests_on == ()
