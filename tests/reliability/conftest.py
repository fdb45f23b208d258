"""Small folios, and processes that have imported everything and can be killed at any instant."""

from __future__ import annotations

import itertools
import multiprocessing
import random
import signal
import time
from collections.abc import Callable, Sequence
from multiprocessing.context import ForkServerContext
from pathlib import Path
from typing import Any

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders import open_folio
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.loaders.folio.build import build_from_chips
from pinfolio.loaders.folio.folio_file import check_folio_file
from pinfolio.schema import Chip

Kill = Callable[..., None]

_LOOK_EVERY_S = 0.0005


@pytest.fixture(scope="session")
def chips() -> Sequence[Chip]:
    """The two smallest chips of the demonstration."""
    smallest = sorted(chip_files(), key=lambda path: path.stat().st_size)[:2]
    return [load_chip(path) for path in smallest]


@pytest.fixture
def folio_path(tmp_path: Path, chips: Sequence[Chip]) -> Path:
    """A folio of one chip, alone in its folder."""
    path = tmp_path / "out" / "folio.db"
    path.parent.mkdir()
    build_from_chips(chips[:1], path)
    return path


@pytest.fixture(scope="session")
def processes() -> ForkServerContext:
    """Starts processes as copies of one that has imported everything: within milliseconds."""
    return multiprocessing.get_context("forkserver")


@pytest.fixture(scope="session")
def kill_at_random(processes: ForkServerContext) -> Kill:
    """Start ``job`` again and again and kill -9 it, until ``times`` kills met it still running.

    It goes on, ten times as long at most, until ``met_all`` is true: it waits until the kills met
    their targets, since how fast the machine is just then is anybody's guess.

    The instants are drawn from ``seed`` and spread over about twice the job's time, however
    fast the machine is just then: a kill that comes too late brings the next ones forward.
    ``arguments`` gives those of each start; ``check`` is called after each. With a ``folder``,
    every second kill waits until a new file is there, so that it meets the writing of that file.
    """

    def killed(
        job: Callable[..., Any],
        arguments: Callable[[], tuple[Any, ...]],
        check: Callable[[], None],
        times: int,
        seed: int,
        met_all: Callable[[], bool],
        folder: Path | None = None,
    ) -> None:
        draw, span_s = random.Random(seed), 0.05
        met = 0
        for start in itertools.count():
            if met >= times and met_all():
                return
            assert met < 10 * times, "the kills do not meet what they are for"
            process = processes.Process(target=job, args=arguments())
            files_before = set(folder.iterdir()) if folder is not None else set()
            process.start()
            if folder is not None and start % 2:
                while process.is_alive() and set(folder.iterdir()) <= files_before:
                    time.sleep(_LOOK_EVERY_S)
                time.sleep(draw.uniform(0, span_s / 4))
            else:
                time.sleep(draw.uniform(span_s / 4, span_s))
            process.kill()
            process.join()
            assert process.exitcode in (0, -signal.SIGKILL)
            in_time = process.exitcode != 0
            met += in_time
            span_s *= 1.05 if in_time else 0.95
            check()

    return killed


@pytest.fixture(scope="session")
def parts_of_whole() -> Callable[[Path], list[str]]:
    """The parts in a folio, every byte of which must be as it was built."""

    def parts(path: Path) -> list[str]:
        check_folio_file(path, afresh=True)
        with open_folio(path) as folio:
            return [row.part for row in folio.parts()]

    return parts
