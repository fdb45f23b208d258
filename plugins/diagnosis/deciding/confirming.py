"""Before a repair that cannot be proved: its own point is read, and cheap parts are proved.

A joint, a supply, a signal from outside or the chip shows only by the set working afterwards. So
nobody begins on it while a reading at the very place, or a part that is lifted in minutes, may
still say otherwise. Common practice.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

import numpy as np

from ..board.cloud import Cloud
from ..weighing.posterior import Posterior, Thing
from ..weighing.spreads import Spreads
from .steps import Step

_READ_AT: Final = ("joint", "supply", "outside")
_MAY_BE_IT: Final = 0.08  # a part as likely as that is proved first


def confirm_first(
    cloud: Cloud,
    spreads: Spreads,
    posterior: Posterior,
    steps: Sequence[Step],
    choose_best: Callable[[frozenset[str]], Step | None],
    doubted: Posterior | None = None,
) -> list[Step]:
    """Return the steps, a leading repair preceded by the reading or proof that confirms it.

    ``choose_best`` gives the measurement that tells most at some points, if any tells; ``doubted``
    the chances if the model of the chip may be wrong as a whole, by which parts are proved.
    """
    first = next(iter(steps), None)
    # A part is proved before it is replaced anyway.
    if first is None or first.kind != "repair" or first.thing is None or first.thing[0] == "part":
        return list(steps)
    confirming = choose_best(_list_own_points(cloud, spreads, posterior, first.thing))
    if confirming is None:
        chances = doubted or posterior
        confirming = next((step for step in steps if _is_worth_proving(step, chances)), None)
    if confirming is None:
        return list(steps)
    return [confirming, *(step for step in steps if step is not confirming)]


def _is_worth_proving(step: Step, posterior: Posterior) -> bool:
    return step.kind == "prove" and posterior.share_of(step.thing) > _MAY_BE_IT


def _list_own_points(
    cloud: Cloud, spreads: Spreads, posterior: Posterior, thing: Thing
) -> frozenset[str]:
    """Return the points where a thing that cannot be proved shows, if it is of that kind."""
    if thing[0] not in _READ_AT:
        return frozenset()
    near = spreads.near[posterior.rows_of[thing]].any(axis=0)
    return frozenset(cloud.points[column] for column in np.flatnonzero(near).tolist())
