"""A worker answers many questions, and is replaced when one of them takes too much."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from pinfolio.loaders.system.limited_process import LimitReachedError
from pinfolio.loaders.system.limited_worker import LimitedWorker


def start_counting(first: int) -> Callable[[str], object]:
    """Return a function that counts its questions, and obeys some of them."""
    count = first

    def answer(question: str) -> object:
        nonlocal count
        count += 1
        if question == "sleep":
            time.sleep(60)
        if question == "memory":
            return len(bytearray(1_000_000_000))
        if question == "die":
            os._exit(3)
        return count, os.getpid(), os.nice(0)

    return answer


@pytest.fixture
def worker(monkeypatch: pytest.MonkeyPatch, pytestconfig: pytest.Config) -> Iterator[LimitedWorker]:
    # The child imports this module by its name, from the path it is given.
    monkeypatch.syspath_prepend(pytestconfig.rootpath)
    worker = LimitedWorker(start_counting, 10, memory_bytes=100_000_000)
    yield worker
    worker.close()


def test_one_process_answers_them_all_at_low_priority(worker: LimitedWorker) -> None:
    (first, process, niceness), (second, same, _) = worker.ask("a", 20), worker.ask("b", 20)
    assert (first, second, process) == (11, 12, same)
    assert niceness >= os.nice(0) + 10
    assert process != os.getpid()


@pytest.mark.parametrize(
    ("question", "reason"),
    [("sleep", "more than 1 s"), ("memory", "more than 100 MB of memory"), ("die", "a crash")],
)
def test_after_a_limit_the_next_question_is_answered(
    worker: LimitedWorker, question: str, reason: str
) -> None:
    _, gone, _ = worker.ask("a", 20)
    with pytest.raises(LimitReachedError, match=reason):
        worker.ask(question, 1)
    assert not Path(f"/proc/{gone}").exists()
    count, process, _ = worker.ask("b", 20)
    assert (count, process != gone) == (11, True)


def test_a_child_killed_between_two_questions_is_replaced(worker: LimitedWorker) -> None:
    _, killed, _ = worker.ask("a", 20)
    os.kill(killed, signal.SIGKILL)
    while worker._child.is_alive():
        time.sleep(0.01)
    count, process, _ = worker.ask("b", 20)
    assert (count, process != killed) == (11, True)


def test_closing_leaves_no_process(worker: LimitedWorker) -> None:
    _, process, _ = worker.ask("a", 20)
    worker.close()
    worker.close()
    assert not Path(f"/proc/{process}").exists()
