"""The doubt about a chip's model as a whole, by hand on three suspects."""

from __future__ import annotations

import numpy as np
import pytest
from pinfolio.plugins.diagnosis.weighing.chip_doubt import add_chip_doubt
from pinfolio.plugins.diagnosis.weighing.model_trust import model_trust
from pinfolio.plugins.diagnosis.weighing.posterior import CHIP, Posterior

from .made_cloud import Good, Made, make_cloud

CLOUD = make_cloud(
    "KYE2620",
    "colour bars",
    {"pin 2": Good(dc=6.0)},
    [Made("part", "C501", "leaky", dc={"pin 2": 3.0}), Made("stage", "afc", "dead", {})],
)
PRIOR = np.array([0.2, 0.5, 0.3])
SHARE, POWER = model_trust().wrong_about_a_chip, model_trust().evidence_then


def weigh(likelihood: list[float], proofs: list[float]) -> tuple[Posterior, Posterior]:
    """Return the posterior before and after the doubt."""
    before = PRIOR * np.array(proofs)
    chances = before * np.array(likelihood)
    weights = np.repeat(chances[:, None], CLOUD.draws, axis=1)
    found = Posterior(CLOUD, weights / weights.sum(), (), 1.0)
    return found, add_chip_doubt(found, before)


def test_readings_that_speak_for_the_chip_alone_leave_the_doubt() -> None:
    """The mean of two opinions; in one the likelihood is raised to a power."""
    found, doubted = weigh([0.01, 0.01, 1.0], [1, 1, 1])
    other = PRIOR * np.array([0.01, 0.01, 1.0]) ** POWER
    wanted = (1 - SHARE) * found.share_of(CHIP) + SHARE * other[2] / other.sum()
    assert doubted.share_of(CHIP) == pytest.approx(wanted)
    assert doubted.share_of(CHIP) < found.share_of(CHIP) - 0.02
    assert doubted.chances.sum() == pytest.approx(1.0)


def test_a_proof_counts_whole_whatever_the_model_is_worth() -> None:
    """A part measured bad: a good one measures so in one of some thousand."""
    found, doubted = weigh([0.3, 0.2, 1.0], [2e-4, 1.0, 2e-4])
    assert found.share_of(("part", "C501")) > 0.99
    assert doubted.share_of(("part", "C501")) > 0.99


def test_the_order_of_suspects_alike_beforehand_stays() -> None:
    found, doubted = weigh([0.1, 0.4, 0.5 * 0.5 / 0.3], [1, 1, 1])
    assert [thing for thing, _ in doubted.ranked] == [thing for thing, _ in found.ranked]
