"""Before a lead is lifted: the resistance across a part in circuit, where that saves time.

With the set off, an ohmmeter across a part tells it, and at times others beside it, without the
soldering iron. What lies beside the part is measured too, so often it tells nothing; the
simulated boards say when it does. Common practice.
"""

from __future__ import annotations

from collections.abc import Sequence, Set
from typing import Final

import numpy as np

from ....schema import Part
from ..weighing.known_board import KnownBoard
from ..weighing.posterior import Posterior
from ..weighing.resistances import (
    LEAST_OHM,
    SPREAD,
    list_two_lead_parts,
    simulate_across_parts,
)
from .effort import Efforts
from .expected_minutes import ExpectedMinutes
from .next_step import WRONG, Table, choose_suspects
from .outcomes import pick_likely_boards, sort_distance, sum_step_chances
from .steps import Step

RESISTANCE: Final = "resistance"
_SUSPECTED: Final = 0.02  # nobody measures across a part that is less likely
_LEAST_BITS: Final = 0.2  # of what it tells: the set is switched off and discharged for it


def choose_part_to_cross(
    board: KnownBoard,
    posterior: Posterior,
    efforts: Efforts,
    done: Set[tuple[str, str]],
    barred: Set[str] = frozenset(),
) -> Step | None:
    """Return the part to measure across, with the set off; None where none is worth it.

    It gets the set working sooner than lifting parts one after another. ``barred`` parts have a
    junction beside them.
    """
    parts = list_two_lead_parts(board.chip)
    columns = [
        column
        for column, part in enumerate(parts)
        if posterior.share_of(("part", part.ref)) > _SUSPECTED
        and (part.ref, RESISTANCE) not in done
        and part.ref not in barred
        and efforts.may_lift(part.ref)
    ]
    if not columns:
        return None
    table = _tabulate(board, posterior, efforts, parts, columns)
    # No look ahead to further measurements: the set is off, and the question is about one part.
    cost = ExpectedMinutes(table.suspects.minutes, bits_a_minute=0.0)
    expected_minutes = cost.expect_after_measuring(table.joint, table.minutes)
    best = int(np.argmin(expected_minutes))
    lifting_minutes = float(cost.expect(table.suspects.chances))
    if expected_minutes[best] >= lifting_minutes or table.bits[best] < _LEAST_BITS:
        return None
    return table.make_step(best, cost)


def _tabulate(
    board: KnownBoard,
    posterior: Posterior,
    efforts: Efforts,
    parts: Sequence[Part],
    columns: Sequence[int],
) -> Table:
    """Return the outcomes of the resistances across some parts."""
    boards, suspects = pick_likely_boards(posterior.weights), choose_suspects(posterior, efforts)
    ohm = simulate_across_parts(board)[:, :, list(columns)]  # hypotheses x draws x parts
    levels = np.log(np.maximum(ohm, LEAST_OHM))
    moves = levels[boards.rows, boards.draws] - levels[0][boards.draws]  # boards x parts
    joint = sum_step_chances(
        sort_distance(moves / SPREAD),
        suspects.numbers[boards.rows],
        boards.weights,
        len(suspects.chances),
        np.full(len(columns), WRONG),
    )
    refs = tuple(parts[column].ref for column in columns)
    minutes = np.array([efforts.estimate_crossing(ref) for ref in refs])
    return Table(RESISTANCE, refs, minutes, joint, suspects)
