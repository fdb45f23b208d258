"""The simulated boards of a chip in a condition, made once and kept."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from ....schema import Chip
from ..board.cloud import Cloud
from .cloud_cache import keep_cloud, read_cloud
from .spreads import Spreads, compute_spreads


@dataclass(frozen=True, eq=False)
class KnownBoard:
    """A chip in one condition, and the readings of its board with every fault."""

    chip: Chip
    cloud: Cloud
    spreads: Spreads

    @cached_property
    def good(self) -> dict[str, NDArray[np.float64]]:
        """The middle figure of good boards at each point, 0 where there is none, by quantity."""
        figures: dict[str, NDArray[np.floating]] = {
            "dc": self.cloud.dc_v,
            "vpp": self.cloud.vpp_v,
            "frequency": self.cloud.frequency_hz,
        }
        return {
            quantity: np.median(np.nan_to_num(of_all[0].astype(float)), axis=0)
            for quantity, of_all in figures.items()
        }


def load_board(chip: Chip, condition: str) -> KnownBoard:
    """Return the boards of a chip; some seconds at the first question, then from the cache."""
    return _load_board(chip.document(), condition)


@lru_cache(maxsize=8)
def _load_board(document: str, condition: str) -> KnownBoard:
    chip = Chip.model_validate_json(document)
    cloud = read_cloud(document, condition)
    if cloud is None:
        from ..board.simulate import simulate_cloud  # takes long to import

        cloud = keep_cloud(document, condition, simulate_cloud(chip, condition))
    return KnownBoard(chip, cloud, compute_spreads(chip, cloud))


def find_working_condition(chip: Chip) -> str:
    """Return the condition in which most pins show a signal: faults are hunted in it."""
    counts = {condition.name: 0 for condition in chip.conditions}
    for pin in chip.pins:
        for expectation in pin.expectations:
            if expectation.waveform is not None and expectation.waveform.period_s:
                counts[expectation.condition] += 1
    return max(counts, key=lambda name: counts[name])
