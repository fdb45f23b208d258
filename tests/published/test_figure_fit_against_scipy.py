"""The least squares behind the figures, compared with scipy.optimize.least_squares.

scipy's trust region method is given every parameter, height and level too, and starts at the
truth; ours finds its start by itself and solves height and level apart.
"""

from __future__ import annotations

import numpy as np
import pytest
from pinfolio.schema.figures.least_squares import fit_shape
from pinfolio.schema.figures.shapes import KINDS, FigureKind
from scipy.optimize import least_squares

TRUTHS = [(0.3,), (0.62,), (0.4, 0.12), (0.25, 0.3, 0.05, 0.08), (0.45, 0.2)]
NAMES = ["sine", "parabola", "sawtooth", "pulse", "flyback pulse"]


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize(("kind", "truth"), list(zip(KINDS, TRUTHS, strict=True)), ids=NAMES)
def test_no_worse_than_scipy_from_the_truth(
    kind: FigureKind, truth: tuple[float, ...], seed: int
) -> None:
    random = np.random.default_rng(seed)
    phase = np.linspace(0, 1, 500, endpoint=False)
    v = 1.7 * kind.shape(phase, np.array(truth)) + 0.9 + 0.05 * random.normal(size=500)
    ours = fit_shape(kind.shape, phase, v, kind.grid(phase, v), kind.bounds)

    def rest(p: np.ndarray) -> np.ndarray:
        return np.asarray(p[0] * kind.shape(phase, p[2:]) + p[1] - v)

    theirs = least_squares(rest, [1.7, 0.9, *truth])
    assert ours.rms_v <= 1.005 * np.sqrt(np.mean(theirs.fun**2))
    turned = 1 if ours.height_v > 0 else -1  # half a period on, a shape may be its own mirror
    assert turned * ours.height_v == pytest.approx(abs(theirs.x[0]), rel=0.03)
