"""Probabilities of suspects after readings, words and findings, on boards made by hand."""

from __future__ import annotations

import numpy as np
import pytest
from made_cloud import Good, Made, make_cloud
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.board.cloud import Seen
from pinfolio.plugins.diagnosis.evidence.observations import Evidence, Observation
from pinfolio.plugins.diagnosis.evidence.part_tests import PartResult
from pinfolio.plugins.diagnosis.weighing.posterior import Posterior, compute_posterior
from pinfolio.plugins.diagnosis.weighing.spreads import compute_spreads

CHIP = load_chip(next(path for path in chip_files() if path.stem == "kye2620"))
GOOD = {"pin 2": Good(dc=6.0), "pin 12": Good(dc=4.1), "pin 5": Good(vpp=2.0, hz=50.0)}
FAULTS = [
    Made("part", "C501", "leaky", dc={"pin 2": (2.0, 4.0)}),
    Made("part", "R501", "open", dc={"pin 2": 0.0}),
    Made("part", "C506", "open", vpp={"pin 5": 0.6}, words={"pin 5": Seen.UNSTABLE}),
    Made("part", "C507", "open", vpp={"pin 5": 0.6}),
    Made("part", "R505", "open", dc={"pin 12": 1.0}),
]
CLOUD = make_cloud(CHIP.part, "colour bars", GOOD, FAULTS)


def weigh(*observations: Observation, parts: tuple[PartResult, ...] = ()) -> Posterior:
    spreads = compute_spreads(CHIP, CLOUD)
    prior = np.full(len(CLOUD.hypotheses), 1 / len(CLOUD.hypotheses))
    return compute_posterior(CHIP, CLOUD, spreads, prior, (), Evidence(observations, parts=parts))


def observe_dc(at: str, volts: float) -> Observation:
    return Observation(at, "dc", value=volts, uncertainty=0.02)


def part(ref: str, outcome: str) -> PartResult:
    return PartResult(ref, outcome, outcome, "")


def test_a_number_tells_faults_apart_that_are_both_too_low() -> None:
    assert weigh(observe_dc("pin 2", 3.0)).ranked[0][0] == ("part", "C501")
    assert weigh(observe_dc("pin 2", 0.02)).ranked[0][0] == ("part", "R501")


def test_a_word_beside_a_number_counts() -> None:
    """Two faults that weaken a signal alike: one of them makes it jump."""

    def share(seen: tuple[str, ...]) -> float:
        found = weigh(Observation("pin 5", "vpp", value=0.6, uncertainty=0.02, seen=seen))
        return found.share_of(("part", "C506"))

    assert share(("unstable",)) > 0.6
    assert share(()) < 0.4


def test_an_amplitude_may_have_been_read_with_or_without_the_probes_load() -> None:
    """2 Vpp is right, and 0.6 Vpp of a fault: corrected or as it was read."""

    def share(corrected_v: float, as_read_v: float | None) -> float:
        seen = Observation("pin 5", "vpp", corrected_v, 0.05, as_read_v)
        return weigh(seen).share_of(("part", "C507"))

    assert share(0.6, None) > 0.4
    assert share(4.0, 2.0) < 0.05  # right, if the probe was no load
    assert share(2.0, 0.6) > 2 * share(2.0, None)  # so may be what was read


def test_a_part_proved_good_is_out() -> None:
    found = weigh(observe_dc("pin 2", 3.0), parts=(part("C501", "good"),))
    assert found.share_of(("part", "C501")) < 0.1
    assert found.ranked[0][0] != ("part", "C501")


def test_a_part_proved_bad_ends_the_matter() -> None:
    found = weigh(observe_dc("pin 2", 3.0), parts=(part("C501", "leaky"),))
    assert found.share_of(("part", "C501")) > 0.98


def test_two_faults_where_one_explains_too_little() -> None:
    found = weigh(
        observe_dc("pin 2", 0.02), observe_dc("pin 12", 1.0), parts=(part("R501", "open"),)
    )
    assert {thing for thing, _ in found.ranked[:2]} == {("part", "R501"), ("part", "R505")}
    assert found.share_of(("part", "R505")) > 0.1


def test_a_range_and_a_verdict_say_less_than_a_figure() -> None:
    low = weigh(Observation("pin 2", "dc", verdict="too low"))
    for ref in ("C501", "R501"):
        assert low.share_of(("part", ref)) > 0.25


def test_what_nothing_explains_is_none_of_these() -> None:
    """9 V where no fault makes more than 6 V."""
    found = weigh(observe_dc("pin 2", 9.0), observe_dc("pin 12", 9.0))
    assert found.ranked[0][0] == ("none", "")


@pytest.mark.parametrize("volts", [0.0, 1.0, 3.0, 6.0, 12.0])
def test_chances_add_up(volts: float) -> None:
    assert weigh(observe_dc("pin 2", volts)).weights.sum() == pytest.approx(1)
