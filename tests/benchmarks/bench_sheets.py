"""Draft each sheet of the corpus, answer its questions, and score pins, values and questions.

    pytest tests/benchmarks/bench_sheets.py -s

PINFOLIO_SHEETS chooses some by text in their names ("transposed", "xlsx ja"); with
PINFOLIO_SHEETS_SHOW=1 each fault is printed. The sheets were written without sight of the reader;
those who change the reader practise on other tables and quote only the totals of these.

A table that must be asked about is answered as its reader would: by the options of its case,
when the message names such an option; any other question by the options that it proposes.
"""

from __future__ import annotations

import os
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from click.testing import CliRunner
from pinfolio.plugins.terminal.cli import main
from sheets.corpus import make_sheets
from sheets.scoring import Draft, Score, score_draft, sum_values
from sheets.sheet import Sheet

LEAST_RIGHT = 0.95
_MOST_QUESTIONS = 4
_OPTION = re.compile(r"(--(?:column|table|encoding|pages))[ =]('[^']+'|\"[^\"]+\"|[^\s',;]+)")
_COLUMNS = ("sheets", "pins", "right", "false", "values", "right", "listed", "false", "lost")
_ENDS = ("led on", "refused", "guessed")


@dataclass(frozen=True)
class Outcome:
    """A sheet's score; ``end``: drafted, led on (asked first), refused or guessed."""

    sheet: Sheet
    end: str
    score: Score
    messages: tuple[str, ...]
    pins: int
    values: int


def test_sheets_are_drafted(tmp_path: Path) -> None:
    wanted = os.environ.get("PINFOLIO_SHEETS", "")
    outcomes = [draft_sheet(sheet, tmp_path) for sheet in make_sheets() if wanted in sheet.name]
    assert outcomes, f"no sheet has {wanted!r} in its name"
    print()
    for line in write_totals(outcomes):
        print(line)
    if "PINFOLIO_SHEETS_SHOW" in os.environ:
        print_faults(outcomes)
    counts = sum((outcome.score.counts for outcome in outcomes), Counter[str]())
    # A refusal is no right pin: the shares count all pins and values of the corpus.
    assert counts["pin right"] >= LEAST_RIGHT * sum(outcome.pins for outcome in outcomes)
    assert counts["value right"] >= LEAST_RIGHT * sum(outcome.values for outcome in outcomes)
    assert counts["value false"] + counts["pin false"] == 0
    assert counts["value lost"] + counts["text lost"] == 0
    assert all(outcome.end in ("drafted", "led on") for outcome in outcomes)


def draft_sheet(sheet: Sheet, folder: Path) -> Outcome:
    """Draft a sheet, answering up to four questions, and score the draft."""
    path = folder / sheet.file_name
    path.write_bytes(sheet.content)
    options: list[str] = []
    messages = []
    for _ in range(_MOST_QUESTIONS + 1):
        result = CliRunner().invoke(main, ["draft", str(path), "--part", "ZZT0000", *options])
        if result.exit_code == 0:
            draft = Draft.read(result.stdout, result.stderr)
            return _judge(sheet, draft, messages)
        messages.append(result.stderr or repr(result.exception))
        answer = answer_question(sheet, messages[-1])
        if not answer or answer == options:
            break
        options = answer if options == [] else [*options, *answer]
    return _refuse(sheet, messages)


def answer_question(sheet: Sheet, message: str) -> list[str]:
    """Return the options that answer a message, empty when it proposes none."""
    question = sheet.case.question
    is_first_choice = question is not None and question.answer[0] in message
    if question and is_first_choice and any(word in message for word in question.subject):
        return [*question.answer]
    return [text.strip("'\"") for option in _OPTION.findall(message) for text in option]


def _judge(sheet: Sheet, draft: Draft, messages: list[str]) -> Outcome:
    scores = [score_draft(draft, truth) for truth in sheet.case.truths]
    best = max(range(len(scores)), key=lambda number: scores[number].counts["value right"])
    truth, score = sheet.case.truths[best], scores[best]
    end = "led on" if messages else "drafted"
    # Several truths and no question: one of them was chosen without a word.
    if sheet.case.question and len(scores) > 1 and not messages:
        end = "guessed"
    return Outcome(sheet, end, score, tuple(messages), len(truth.pins), sum_values(truth))


def _refuse(sheet: Sheet, messages: list[str]) -> Outcome:
    truth = sheet.case.truths[0]
    return Outcome(sheet, "refused", Score(), tuple(messages), len(truth.pins), sum_values(truth))


def write_totals(outcomes: list[Outcome]) -> Iterator[str]:
    """Yield a table: a line for each quirk, and one for all."""
    yield f"{'':26}" + "".join(f"{name:>8}" for name in (*_COLUMNS, *_ENDS))
    quirks = dict.fromkeys(outcome.sheet.quirk for outcome in outcomes)
    for quirk in quirks:
        yield _write_row(quirk, [each for each in outcomes if each.sheet.quirk == quirk])
    yield _write_row("all", outcomes)


def _write_row(name: str, outcomes: list[Outcome]) -> str:
    counts = sum((outcome.score.counts for outcome in outcomes), Counter[str]())
    ends = Counter(outcome.end for outcome in outcomes)
    pins = sum(outcome.pins for outcome in outcomes)
    values = sum(outcome.values for outcome in outcomes)
    numbers = [
        str(len(outcomes)),
        str(pins),
        _write_share(counts["pin right"], pins),
        str(counts["pin false"]),
        str(values),
        _write_share(counts["value right"], values),
        str(counts["value listed"]),
        str(counts["value false"]),
        str(counts["value lost"] + counts["text lost"]),
        *(str(ends[end]) for end in _ENDS),
    ]
    return f"{name:26}" + "".join(f"{number:>8}" for number in numbers)


def _write_share(count: int, total: int) -> str:
    return f"{count / total:.1%}" if total else "-"


def print_faults(outcomes: list[Outcome]) -> None:
    """Print every fault and question of every sheet."""
    for outcome in outcomes:
        if outcome.score.faults or outcome.messages:
            print(f"{outcome.sheet.name} ({outcome.sheet.file_name}): {outcome.end}")
        for line in (*outcome.messages, *outcome.score.faults):
            print("   ", line.strip())
