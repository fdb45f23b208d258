"""Many chips: the same folio from however many processes, in memory that does not grow."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
import tracemalloc
from collections.abc import Callable, Iterator
from multiprocessing import active_children, parent_process
from pathlib import Path

import pytest
from pinfolio.loaders.chip_files.chip_file import chip_to_yaml
from pinfolio.loaders.errors import ChipFileError, Fault
from pinfolio.loaders.folio import preparation
from pinfolio.loaders.folio.build import build_folio
from pinfolio.loaders.folio.folio import FolioError, open_folio
from pinfolio.loaders.system.parallel import WorkersLostError, map_in_order
from pinfolio.schema import Chip

ChipMaker = Callable[..., Chip]


@pytest.fixture
def lines(tmp_path: Path, invented_chip: ChipMaker) -> Callable[[int], Path]:
    """Call it with a number of chips for a file of JSON Lines with so many."""
    document = invented_chip("AB12").document()

    def write(count: int) -> Path:
        path = tmp_path / f"{count}.jsonl"
        path.write_text("".join(document.replace("AB12", f"AB{n}") + "\n" for n in range(count)))
        return path

    return write


@pytest.fixture
def few_are_enough(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let a handful of chips go to several processes."""
    monkeypatch.setattr(preparation, "_ENOUGH", 10)


@pytest.mark.usefixtures("few_are_enough")
class TestSeveralProcesses:
    def test_the_folio_is_the_same(self, lines: Callable[[int], Path], tmp_path: Path) -> None:
        path = lines(100)
        one = build_folio([path], tmp_path / "one.db", processes=1)
        two = build_folio([path], tmp_path / "two.db", processes=2)
        assert one.digest == two.digest
        with open_folio(tmp_path / "one.db") as a, open_folio(tmp_path / "two.db") as b:
            assert list(a.chips()) == list(b.chips())

    def test_faults_come_in_the_order_of_the_lines(
        self, lines: Callable[[int], Path], tmp_path: Path
    ) -> None:
        path = lines(100)
        path.write_text(path.read_text().replace("jungle", "jungel"))
        with pytest.raises(ChipFileError) as refused:
            build_folio([path], tmp_path / "a.db", processes=2)
        assert [fault.line for fault in refused.value.faults] == [*range(1, 101)]

    def test_chip_files_known_and_not_known_come_in_order(
        self, tmp_path: Path, invented_chip: ChipMaker
    ) -> None:
        folder = tmp_path / "chips"
        folder.mkdir()
        for number in range(40):
            text = chip_to_yaml(invented_chip(f"AB{number:02}"))
            (folder / f"{number:02}.yaml").write_text(text, encoding="utf-8")
        half = sorted(folder.iterdir())[::2]
        build_folio(half, tmp_path / "half.db", cache=tmp_path)
        told: list[str] = []
        build_folio(
            [folder],
            tmp_path / "all.db",
            lambda done, total, part: told.append(f"{done} of {total}: {part}"),
            cache=tmp_path,
            processes=2,
        )
        assert told == [f"{n + 1} of 40: AB{n:02}" for n in range(40)]

    def test_a_process_that_is_killed_is_told_and_nothing_is_written(
        self, lines: Callable[[int], Path], tmp_path: Path
    ) -> None:
        with pytest.raises(FolioError, match="a worker process was killed"):
            build_folio([lines(100)], tmp_path / "a.db", kill_workers, processes=2)
        assert not (tmp_path / "a.db").exists()


def kill_workers(done: int, total: int, part: str) -> None:
    """Kill the worker processes of this one after the first chip."""
    for worker in active_children():
        worker.kill()


def test_a_killed_process_is_one_error() -> None:
    with pytest.raises(WorkersLostError):
        list(map_in_order(_kill, range(100), 2))


def _kill(number: int) -> None:
    if parent_process() is not None:
        os.kill(os.getpid(), signal.SIGKILL)


def test_no_more_is_taken_than_is_being_worked_on() -> None:
    taken: list[int] = []

    def items() -> Iterator[int]:
        for number in range(2_000):
            taken.append(number)
            yield number

    for done, (item, result) in enumerate(map_in_order(abs, items(), 2)):
        assert item == result == done
        assert len(taken) - done <= 16 * 10


_ENDLESS = """
import signal
from itertools import count
from pinfolio.loaders.system.parallel import map_in_order
if __name__ == "__main__":
    # A shell has its background processes ignore Ctrl-C; this one heeds it wherever tests run.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    for item, result in map_in_order(abs, count(), 2):
        if item == 0:
            print("at work", flush=True)
"""


@pytest.mark.parametrize("stop", [signal.SIGINT, signal.SIGKILL])
def test_no_process_outlives_the_first(tmp_path: Path, stop: signal.Signals) -> None:
    """Ctrl-C goes to every process of a terminal; a kill only to the first one."""
    program = tmp_path / "endless.py"
    program.write_text(_ENDLESS)
    with subprocess.Popen(
        [sys.executable, str(program)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    ) as first:
        assert first.stdout is not None
        assert first.stderr is not None
        assert first.stdout.readline() == "at work\n"
        if stop == signal.SIGINT:
            os.killpg(first.pid, stop)
        else:
            first.kill()
        _, told = first.communicate(timeout=60)
    if stop == signal.SIGINT:
        assert told.count("Traceback") == 1  # its own KeyboardInterrupt; the others say nothing
    for _ in range(600):
        if not _is_alive(first.pid):
            return
        time.sleep(0.1)
    pytest.fail("a process is still there")


def _is_alive(group: int) -> bool:
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return False
    return True


def test_memory_does_not_grow_with_the_chips(lines: Callable[[int], Path], tmp_path: Path) -> None:
    """Beyond a line about each chip: its part number, its place and its digest."""
    peaks = []
    for count in (500, 1_400):
        path = lines(count)
        build_folio([path], tmp_path / "warm.db", processes=1)
        tracemalloc.start()
        build_folio([path], tmp_path / "a.db", processes=1)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] - peaks[0] < 900 * 600


def test_so_many_faults_are_told_and_no_more(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pinfolio.loaders.folio.build._MOST_FAULTS", 5)
    path = tmp_path / "a.jsonl"
    path.write_text("{\n" * 100)
    with pytest.raises(ChipFileError) as refused:
        build_folio([path], tmp_path / "a.db")
    assert len(refused.value.faults) == 5
    told: list[tuple[Fault, ...]] = []
    with pytest.raises(FolioError):
        build_folio([path], tmp_path / "a.db", rejected=told.append)
    assert len(told) == 100
