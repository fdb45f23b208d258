"""Cost of a hunt: the simulated boards of a chip, once, and each step after that.

Boards are set against the least that numpy needs for them: the inverse of one admittance matrix for
each draw, and one rank-one update for each simulated board. A step is set against the least that
weighs it: a normal density on every simulated board for each reading.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.answers.hunt import find_fault
from pinfolio.plugins.diagnosis.board.simulate import simulate_cloud
from pinfolio.plugins.diagnosis.weighing.known_board import find_working_condition, load_board
from pinfolio.plugins.readings.reading_syntax import read_line
from pinfolio.schema import Chip
from pinfolio.schema.instruments.ordinary import BUILT_IN

Report = Callable[..., None]
SecondsInTurn = Callable[..., list[float]]
READINGS = ("1 dc=4V", "2 dc=3V", "5 dc=2V", "7 dc=1V")


def find_largest_chip() -> Chip:
    """The demonstration chip with most pins."""
    return max(map(load_chip, chip_files()), key=lambda chip: len(chip.pins))


def solve_bare_boards(draws: int, points: int, faults: int) -> None:
    """Invert a matrix for each draw, and update once for each board."""
    chance = np.random.default_rng(1)
    matrix = chance.uniform(0, 1e-3, (draws, points, points)) + 10 * np.eye(points)
    inverse = np.linalg.inv(matrix)
    volts = np.einsum("dij,dj->di", inverse, np.ones((draws, points)))
    for fault in range(faults):
        along = inverse[:, :, fault % points]
        drop = volts[:, fault % points] / (1 + along[:, fault % points])
        volts - along * drop[:, None]


def choose_bare_step(readings: int, shape: tuple[int, int]) -> None:
    """Weigh readings on boards: a density each, and their product."""
    shown = np.random.default_rng(2).normal(size=(readings, *shape))
    np.prod(np.exp(-0.5 * shown**2), axis=0).sum(axis=1)


@pytest.mark.parametrize("way", ["boards", "step"])
def test_a_hunt(way: str, report: Report, seconds_in_turn: SecondsInTurn) -> None:
    chip = find_largest_chip()
    condition = find_working_condition(chip)
    board = load_board(chip, condition)
    faults, draws, points = board.cloud.dc_v.shape
    if way == "boards":
        ours, plain = seconds_in_turn(
            lambda: simulate_cloud(chip, condition),
            lambda: solve_bare_boards(draws, points, faults),
        )
        report(f"boards of a chip with {len(chip.pins)} pins", ours, plain, boards=faults * draws)
        return
    taken = [read_line(text) for text in READINGS]
    ours, plain = seconds_in_turn(
        lambda: find_fault(chip, [], taken, BUILT_IN.choose(), condition),
        lambda: choose_bare_step(len(READINGS), (faults, draws)),
    )
    report(f"a step after {len(READINGS)} readings", ours, plain, boards=faults * draws)
