"""How often defects in captures are found and named, and how often good captures are blamed.

Run it with ``pytest -s tests/benchmarks/bench_captures.py``. Signals are made from the numbers of
the standards, without the package's waveforms. PINFOLIO_CAPTURES_SEED chooses the captures (1 when
not set), PINFOLIO_CAPTURES_GOOD the number of good ones (500), PINFOLIO_CAPTURES names a file for
one line of JSON a capture. Takes some minutes.
"""

from __future__ import annotations

import json
import os
from collections import defaultdict
from collections.abc import Callable, Iterable
from pathlib import Path

from captures.judging import (
    CANNOT_TELL,
    CRASHED,
    Answer,
    describe_coverage,
    judge_defects,
    judge_good,
    list_deviations,
)

SEED = int(os.environ.get("PINFOLIO_CAPTURES_SEED", "1"))
GOOD = int(os.environ.get("PINFOLIO_CAPTURES_GOOD", "500"))


def test_defects() -> None:
    answers = list(judge_defects(SEED))
    _write(answers)
    print("\nof the records that can show the defect; then those that cannot")
    print_table(answers, lambda answer: f"{answer.how.samples} samples")
    print_table(answers, lambda answer: answer.place.sort)
    print_table(answers, lambda answer: answer.place.name)
    for sort in dict.fromkeys(answer.place.sort for answer in answers):
        print(f"\n{sort}")
        print_table([a for a in answers if a.place.sort == sort], _print_title)
    print_table(answers, lambda answer: "all")
    assert answers


def test_good_captures() -> None:
    answers = list(judge_good(SEED, GOOD))
    _write(answers)
    blamed = [answer for answer in answers if answer.is_found]
    untold = sum(answer.verdict == CANNOT_TELL for answer in answers)
    crashed = sum(answer.verdict == CRASHED for answer in answers)
    print(f"\n{len(blamed)} of {len(answers)} good captures blamed, cannot tell of {untold}")
    print(f"crashed at {crashed}")
    for sort in dict.fromkeys(answer.place.sort for answer in answers):
        mine = [answer for answer in answers if answer.place.sort == sort]
        clear = [answer for answer in mine if not answer.meets_field_blanking]
        print(
            f"  {sort:12} {sum(a.is_found for a in mine):4} of {len(mine):4}; without field"
            f" blanking {sum(a.is_found for a in clear):4} of {len(clear):4}"
        )
    reasons: dict[str, int] = defaultdict(int)
    for answer in blamed:
        for name in answer.names or [answer.verdict]:
            reasons[f"{answer.place.sort}: {name}"] += 1
    for reason, times in sorted(reasons.items(), key=lambda item: -item[1]):
        print(f"  {times:4} {reason}")
    for name, rows in list_deviations(answers).items():
        print(f"  {name:16} {describe_coverage(rows)}")
    assert len(answers) == GOOD


def print_table(answers: Iterable[Answer], key: Callable[[Answer], str]) -> None:
    """Print a line for each key."""
    groups: dict[str, list[Answer]] = defaultdict(list)
    for answer in answers:
        groups[key(answer)].append(answer)
    for name, group in groups.items():
        shown = [answer for answer in group if answer.can_show]
        found = sum(answer.is_found for answer in shown)
        named = sum(answer.is_named for answer in shown)
        untold = sum(answer.verdict == CANNOT_TELL for answer in shown)
        crashed = sum(answer.verdict == CRASHED for answer in group)
        hidden = [answer for answer in group if not answer.can_show]
        blamed = sum(answer.is_found and not answer.is_named for answer in hidden)
        print(
            f"  {name:26} found {found:4} named {named:4} cannot tell {untold:4} of {len(shown):4}"
            f"   not shown {len(hidden):4}, blamed otherwise {blamed:4}; crashed {crashed:3}"
        )


def _print_title(answer: Answer) -> str:
    return answer.defect.title if answer.defect else "good"


def _write(answers: Iterable[Answer]) -> None:
    if path := os.environ.get("PINFOLIO_CAPTURES"):
        with Path(path).open("a", encoding="utf-8") as file:
            for answer in answers:
                file.write(json.dumps(_describe(answer), ensure_ascii=False) + "\n")


def _describe(answer: Answer) -> dict[str, object]:
    return {
        "pin": answer.place.name,
        "sort": answer.place.sort,
        "defect": _print_title(answer),
        "samples": answer.how.samples,
        "rate_hz": answer.how.rate_hz,
        "start_s": answer.how.start_s,
        "shows": answer.can_show,
        "verdict": answer.verdict,
        "names": answer.names,
        "why": answer.document["why"],
        "notes": (answer.document.get("capture") or {}).get("notes"),
    }
