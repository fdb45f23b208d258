"""How often hunts on foreign boards end at the true fault.

Run it with ``pytest -s tests/benchmarks/bench_foreign.py``. Every fault of every chip in
``foreign`` is hunted with ``pinfolio faultfind --json``, and the totals are printed.
PINFOLIO_FOREIGN_SEED chooses the boards (100 when not set), PINFOLIO_FOREIGN_HUNTS names a file
for one line of JSON a hunt. Takes minutes a chip.
"""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
from boards.report import Boards, Hunted, hunt_all, print_totals
from foreign.countdown_faults import COUNTDOWN_BOARDS
from foreign.if_faults import IF_BOARDS
from foreign.rgb_faults import RGB_BOARDS
from foreign.servo_faults import SERVO_BOARDS
from foreign.stereo_faults import STEREO_BOARDS

SEED = int(os.environ.get("PINFOLIO_FOREIGN_SEED", "100"))
CHIPS = {
    boards.chip.name: boards
    for boards in (
        RGB_BOARDS,
        SERVO_BOARDS,
        IF_BOARDS,
        COUNTDOWN_BOARDS,
        STEREO_BOARDS,
    )
}
_HUNTS: list[Hunted] = []


@pytest.mark.parametrize("boards", CHIPS.values(), ids=CHIPS)
def test_hunts_on_foreign_boards(boards: Boards, ngspice: None, tmp_path: Path) -> None:
    hunts = list(hunt_all(boards, tmp_path, SEED))
    _HUNTS.extend(hunts)
    print()
    print_totals(hunts)
    assert len(hunts) == len(boards.faults)


def test_totals_of_all_chips() -> None:
    assert _HUNTS, "run this after the hunts: it adds them up"
    print()
    print_totals(_HUNTS)
    if path := os.environ.get("PINFOLIO_FOREIGN_HUNTS"):
        Path(path).write_text("".join(_as_json_line(hunt) for hunt in _HUNTS), encoding="utf-8")


def _as_json_line(hunt: Hunted) -> str:
    return (
        json.dumps(
            {
                "chip": hunt.chip,
                "fault": hunt.fault.title,
                "sort": hunt.fault.sort,
                "symptoms": hunt.symptoms,
                "rank": hunt.found.rank,
                "first": hunt.found.first,
                "probability": hunt.found.first_probability,
                "readings": hunt.found.readings,
                "conclusion": hunt.found.conclusion,
                "error": hunt.error,
            },
            ensure_ascii=False,
        )
        + "\n"
    )
