"""Doubt about the model of a chip as a whole, beside its doubts about single points and faults.

What nobody thought of in a chip (an output that rests elsewhere, a detector that is slow) is wrong
under every fault of it, and reading after reading: their evidence then counts for less than it
says. The chance of each fault is the weighted mean of two opinions: of the model, and of one that
raises the likelihood of all readings and symptoms to a power below 1. Proofs of parts and joints
count whole in both: no model is behind them. The next step is chosen without this doubt, which no
measurement lessens. Sources: Stone, The opinion pool, Annals of
Mathematical Statistics 32 (1961); the power: Grünwald and van Ommen, Inconsistency of Bayesian
inference for misspecified linear models, Bayesian Analysis 12 (2017).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .model_trust import model_trust
from .posterior import Posterior

Numbers = NDArray[np.float64]

_LEAST: Final = 1e-300


def add_chip_doubt(found: Posterior, before: Numbers) -> Posterior:
    """Return the chances after that doubt.

    ``before``: the chance of each hypothesis by all that no model is behind, prior and proofs,
    shape (hypotheses,).
    """
    share, power = model_trust().wrong_about_a_chip, model_trust().evidence_then
    likelihood = found.chances / np.maximum(before, _LEAST)
    doubted = before * (likelihood / max(float(likelihood.max()), _LEAST)) ** power
    pooled = (1 - share) * found.chances + share * doubted / max(float(doubted.sum()), _LEAST)
    weights = found.weights * (pooled / np.maximum(found.chances, _LEAST))[:, None]
    return replace(found, weights=weights / weights.sum())
