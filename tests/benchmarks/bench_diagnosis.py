"""Fault finding followed to its end on simulated boards: how many readings, how often right.

Run by hand: ``pytest tests/benchmarks/bench_diagnosis.py -s``. PINFOLIO_BOARDS sets the boards per
chip and seed, PINFOLIO_DIAGNOSIS names a file for the figures as JSON. ``simulated_board.py`` says
what is simulated by what, ``simulated_readings.py`` what slips, ``hunts.py`` how a hunt goes.

Read are DC, signals and frequencies with the set on, and parts out of circuit; no resistances with
the set off, which would tell more.
"""

from __future__ import annotations

import json
import math
import os
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
import pytest
from hunts import SLIPS, Hunt, as_proposed, in_turn
from pinfolio.data_demo import chip_files
from simulated_board import Board, Simulate, bench_of, boards

BOARDS: Final = int(os.environ.get("PINFOLIO_BOARDS", "10"))
# The chances of the predictions were looked at with seeds 101 to 110: none of these, whose single
# hunts nobody looks at.
HELD_OUT: Final = (62832, 66743)
_DEVIATIONS: Final = 1.96  # of a 95 % interval


def hunted(board: Board) -> dict[str, Hunt]:
    """The hunts on one board, by how the points are chosen and by what slips."""
    points = list(board.bench.on)
    mixed = list(points)
    board.chance.shuffle(mixed)  # type: ignore[arg-type]
    chosen = {"proposed": as_proposed, "pin order": in_turn(points), "random": in_turn(mixed)}
    found = {name: Hunt(board, choose, takes_again=name == "proposed").follow()
             for name, choose in chosen.items()}  # fmt: skip
    slipped = {name: Hunt(board, as_proposed, slip).follow() for name, slip in SLIPS.items()}
    return found | slipped


def share(hits: Sequence[bool]) -> dict[str, float]:
    """A share with its 95 % interval (Wilson, Journal of the American Statistical Association 22,
    1927)."""
    count, z = len(hits), _DEVIATIONS
    part = sum(hits) / count
    centre = (part + z * z / (2 * count)) / (1 + z * z / count)
    half = math.sqrt(part * (1 - part) / count + z * z / (4 * count * count))
    half *= z / (1 + z * z / count)
    return {"share": part, "from": max(centre - half, 0.0), "to": centre + half, "of": count}


def reliability(hunts: Sequence[Hunt]) -> Iterator[dict[str, float]]:
    """Mean probability of the first suspect, share of hits and count, by fifths."""
    for low in np.arange(0, 1, 0.2):
        within = [h for h in hunts if low <= h.suspects[0][1] < low + 0.2 + (low > 0.7)]
        if within:
            said = float(np.mean([h.suspects[0][1] for h in within]))
            was = float(np.mean([h.rank == 1 for h in within]))
            yield {"said": said, "was": was, "hunts": len(within)}


def plain(hunts: Sequence[Hunt]) -> dict[str, Any]:
    """The figures of hunts without a slip."""
    bits = [math.log2(len({str(h) for h in hunt.found.predictions.hypotheses})) for hunt in hunts]
    readings = [len(hunt.technician.taken) for hunt in hunts]
    table = list(reliability(hunts))
    wrong = sum(row["hunts"] * abs(row["said"] - row["was"]) for row in table)
    return {
        "readings": float(np.mean(readings)),
        "taken again": float(np.mean([len(hunt.again) for hunt in hunts])),
        "log2 of hypotheses": float(np.mean(bits)),
        "readings to bits": float(np.mean(readings) / np.mean(bits)),
        "first": share([hunt.rank == 1 for hunt in hunts]),
        "first three": share([hunt.rank <= 3 for hunt in hunts]),
        "calibration error": wrong / len(hunts),
        "reliability": table,
        "sure": share([hunt.is_sure for hunt in hunts]),
    }


def slipped(hunts: Sequence[Hunt]) -> dict[str, Any]:
    """How hunts with a slip end: a wrong part named for sure, the slip doubted, the right one."""
    return {
        "surely wrong": share([hunt.is_surely_wrong for hunt in hunts]),
        "said or taken again": share([hunt.said or bool(hunt.again) for hunt in hunts]),
        "first": share([hunt.rank == 1 for hunt in hunts]),
        "first three": share([hunt.rank <= 3 for hunt in hunts]),
    }


def summary(hunts: Sequence[dict[str, Hunt]]) -> dict[str, Any]:
    """The figures of the report."""
    by_name = {name: [hunt[name] for hunt in hunts] for name in hunts[0]}
    until = {
        name: float(np.mean([hunt.among_three_after for hunt in by_name[name]]))
        for name in ("proposed", "pin order", "random")
    }
    return {
        **plain(by_name["proposed"]),
        "until among the first three": until,
        "slips": {name: slipped(by_name[name]) for name in ("proposed", *SLIPS)},
    }


_ALL: dict[str, list[dict[str, Hunt]]] = {}
_COUNT: dict[str, int] = {}


@pytest.mark.parametrize("path", chip_files(), ids=lambda path: path.stem)
def test_hunts(path: Path, simulate: Simulate) -> None:
    """Of faults that show at some point; most of the others are parts a little off."""
    bench = bench_of(path)
    made = [board for seed in HELD_OUT for board in boards(bench, simulate, seed, BOARDS)]
    _COUNT[path.stem] = len(made)
    _ALL[path.stem] = [hunted(board) for board in made if board.wrong]


def test_all_together() -> None:
    by_chip = {
        chip: plain([hunt["proposed"] for hunt in hunts]) for chip, hunts in _ALL.items() if hunts
    }
    every = [hunt for hunts in _ALL.values() for hunt in hunts]
    figures = {
        "seeds": HELD_OUT,
        "boards": sum(_COUNT.values()),
        "shown": len(every),
        **summary(every),
        "by chip": {
            chip: {name: each[name] for name in ("readings", "first three", "calibration error")}
            for chip, each in by_chip.items()
        },
    }
    print(json.dumps(figures, indent=1))
    if path := os.environ.get("PINFOLIO_DIAGNOSIS"):
        Path(path).write_text(json.dumps(figures, indent=2) + "\n", encoding="utf-8")
