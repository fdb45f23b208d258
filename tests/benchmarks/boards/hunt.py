"""One hunt: follow the steps that `pinfolio faultfind --json` proposes, answered from a board.

The command is called in this process through its installed entry point, so that a move of modules
does not matter here.
"""

from __future__ import annotations

import contextlib
import io
import json
import sys
import time
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.metadata import entry_points
from pathlib import Path
from typing import Any

from .bench import Bench
from .drawn_chip import DrawnChip
from .faults import Thing

MOST_READINGS = 12
NOT_NAMED = 99
"""The rank of a true fault that is not among the suspects."""
_ANSWERED = (0, 1)

Answer = Mapping[str, Any]
Step = tuple[str, str]
"""Where, and which quantity."""


@dataclass(frozen=True)
class Found:
    """How a hunt ended; ``rank`` 1 when the first suspect was right."""

    rank: int
    first: Thing
    first_probability: float
    true_probability: float
    readings: tuple[str, ...]
    finished: bool
    conclusion: str
    seconds_a_step: float


class CommandError(RuntimeError):
    """The command refused or broke."""


@cache
def _main() -> Callable[[], int | None]:
    scripts = entry_points(group="console_scripts")
    return next(script for script in scripts if script.name == "pinfolio").load()  # type: ignore[no-any-return]


def call_pinfolio(*arguments: str) -> tuple[int, str]:
    """Return the exit status and the standard output, or the error output."""
    out, err, kept = io.StringIO(), io.StringIO(), sys.argv
    status: int | str | None = 0
    sys.argv = ["pinfolio", *arguments]
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            status = _main()() or 0
    except SystemExit as stop:
        status = stop.code
    finally:
        sys.argv = kept
    code = status if isinstance(status, int) else 0 if status is None else 1
    return code, out.getvalue() or err.getvalue()


def build_folio(chip: DrawnChip, folder: Path) -> Path:
    """Write a folio of this chip alone and return its path; raises CommandError."""
    folio = folder / f"{chip.path.stem}.db"
    code, text = call_pinfolio("build", str(chip.path), "-o", str(folio))
    if code:
        raise CommandError(f"{chip.path}: does not build: {text[:800]}")
    return folio


def ask(folio: Path, chip: DrawnChip, symptoms: Sequence[str], readings: Sequence[str]) -> Answer:
    """Return the command's answer to these symptoms and readings; raises CommandError."""
    arguments = ["faultfind", chip.name, "--condition", chip.condition, "--json"]
    arguments += ["--folio", str(folio)]
    arguments += [word for symptom in symptoms for word in ("--symptom", symptom)]
    arguments += [word for reading in readings for word in ("--reading", reading)]
    code, text = call_pinfolio(*arguments)
    if code not in _ANSWERED or not _is_json(text):
        raise CommandError(f"exit {code}: {text[:400]} {arguments}")
    return json.loads(text)  # type: ignore[no-any-return]


def _is_json(text: str) -> bool:
    """A refusal is a sentence; an answer that is a "no" has the same exit status and is JSON."""
    return text.lstrip().startswith("{")


@cache
def knows_symptom(folio: Path, chip_name: str, symptom: str) -> bool:
    """Return whether the command takes this symptom for this chip."""
    code, text = call_pinfolio(
        "faultfind", chip_name, "--json", "--folio", str(folio), "--symptom", symptom
    )
    return code in _ANSWERED and _is_json(text)


def known_symptoms(
    folio: Path, chip: DrawnChip, shown: Iterable[tuple[str, ...]], most: int = 2
) -> list[str]:
    """Return for each symptom the first of its names that the command takes, at most so many."""
    names = (
        next((name for name in synonyms if knows_symptom(folio, chip.name, name)), None)
        for synonyms in shown
    )
    return [name for name in dict.fromkeys(names) if name is not None][:most]


def rank_things(answer: Answer) -> list[tuple[Thing, float]]:
    """Return suspects summed by thing, likeliest first: all stages are one thing, the chip."""
    total: dict[Thing, float] = defaultdict(float)
    for suspect in answer["suspects"]:
        stage = suspect["kind"] == "stage"
        thing = ("chip", "") if stage else (suspect["kind"], suspect["what"])
        total[thing] += suspect["probability"]
    return sorted(total.items(), key=lambda entry: -entry[1])


def next_step(answer: Answer, taken: Sequence[Step]) -> Step | None:
    """Return the measurement proposed, else one to take again that was not yet taken twice."""
    proposed = [(step["at"], step["quantity"]) for step in answer["next"]]
    if proposed:
        return proposed[0]
    again = [(step["at"], step["quantity"]) for step in answer.get("again", ())]
    return next((step for step in again if taken.count(step) < 2), None)


def hunt(
    folio: Path, chip: DrawnChip, bench: Bench, symptoms: Sequence[str], right: frozenset[Thing]
) -> Found:
    """Follow the proposals to their end, or for `MOST_READINGS` readings; ``right`` is true."""
    readings: list[str] = []
    taken: list[Step] = []
    began_s = time.perf_counter()
    while True:
        answer = ask(folio, chip, symptoms, readings)
        step = next_step(answer, taken)
        if step is None or len(readings) >= MOST_READINGS:
            break
        readings.append(bench.read(*step))
        taken.append(step)
    suspects = rank_things(answer)
    ranks = (rank for rank, (thing, _) in enumerate(suspects, start=1) if thing in right)
    first, first_probability = suspects[0] if suspects else (("none", ""), 0.0)
    return Found(
        rank=next(ranks, NOT_NAMED),
        first=first,
        first_probability=first_probability,
        true_probability=sum(probability for thing, probability in suspects if thing in right),
        readings=tuple(readings),
        finished=len(readings) < MOST_READINGS or not answer["next"],
        conclusion=answer["conclusion"],
        seconds_a_step=(time.perf_counter() - began_s) / (len(readings) + 1),
    )
