"""Hunt the faults of the boards to practise on; ``-s`` prints totals by chip and sort of fault.

    pytest tests/benchmarks/bench_practice.py -s

PINFOLIO_PRACTICE_CHIP (mdq4628), _SORT (leak) and _FAULT (text in its title) choose some of them,
_SEED other deviations of the parts; _SHOW prints each hunt: symptoms, readings, first suspect;
_HUNTS names a file for one line of JSON a hunt, which ``fit_model_trust.py`` reads.
These boards may be studied and tuned on; the judges' boards in `foreign` may not.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from pathlib import Path

from boards.faults import things_to_name
from boards.report import Boards, Hunted, hunt_all, print_totals
from practice.chips import NAMES, load_boards

_OPTION = "PINFOLIO_PRACTICE_"


def test_hunts_on_practice_boards(tmp_path: Path, ngspice: None) -> None:
    seed = int(os.environ.get(_OPTION + "SEED", "300"))
    hunts: list[Hunted] = []
    for name in NAMES:
        if os.environ.get(_OPTION + "CHIP", name) != name:
            continue
        boards = load_boards(name)
        for hunted in hunt_all(boards, tmp_path, seed, choose_numbers(boards)):
            hunts.append(hunted)
            if _OPTION + "SHOW" in os.environ:
                print_hunt(boards, hunted)
            if path := os.environ.get(_OPTION + "HUNTS"):
                with Path(path).open("a", encoding="utf-8") as kept:
                    kept.write(format_json_line(boards, hunted))
    assert hunts, "no fault of a practice board is chosen"
    print()
    print_totals(hunts)


def choose_numbers(boards: Boards) -> Iterator[int]:
    """Yield the numbers of the faults that sort and text choose; all when neither is given."""
    sort, text = os.environ.get(_OPTION + "SORT"), os.environ.get(_OPTION + "FAULT", "")
    for number, fault in enumerate(boards.faults):
        if text.lower() in fault.title.lower() and sort in (None, fault.sort):
            yield number


def format_json_line(boards: Boards, hunted: Hunted) -> str:
    """Return a hunt as a line of JSON: readings taken, and the true things."""
    right = sorted(things_to_name(hunted.fault, boards.chip))
    kept = {
        "chip": hunted.chip,
        "symptoms": hunted.symptoms,
        "readings": hunted.found.readings,
        "right": right,
    }
    return json.dumps(kept, ensure_ascii=False) + "\n"


def print_hunt(boards: Boards, hunted: Hunted) -> None:
    """Print one hunt for study."""
    found, right = hunted.found, things_to_name(hunted.fault, boards.chip)
    verdict = "right" if hunted.was_first else f"rank {found.rank}"
    symptoms = ", ".join(hunted.symptoms) or "no symptom"
    print(f"{hunted.chip} {hunted.fault.title}: {verdict}, {symptoms}")
    for reading in found.readings:
        print(f"    {reading}")
    named = " ".join(found.first).strip()
    print(f"    first {named} {found.first_probability:.2f}, true {found.true_probability:.2f}")
    print(f"    right {sorted(right)}; {hunted.error or found.conclusion}")
