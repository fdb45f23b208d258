"""Small folios, and processes that have imported everything and can be killed at any instant."""

from __future__ import annotations

import multiprocessing
import random
import time
from collections.abc import Callable, Sequence
from multiprocessing.context import ForkServerContext
from pathlib import Path
from typing import Any

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders import open_folio
from pinfolio.loaders.build import build_from_chips
from pinfolio.loaders.chip_file import load_chip
from pinfolio.loaders.folio_file import check_folio_file
from pinfolio.schema import Chip

Kill = Callable[..., int]


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
    """Starts processes as copies of one that has imported the loaders: within milliseconds."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(
        ["__main__", "pinfolio.loaders.build", "pinfolio.loaders.fetching", "pinfolio.schema"]
    )
    return context


@pytest.fixture(scope="session")
def kill_at_random(processes: ForkServerContext) -> Kill:
    """Start ``job(*arguments)`` ``times`` over, and kill -9 it at instants drawn from ``seed``.

    The instants are spread over as long as the job takes when it is left alone, and a little more.
    ``check`` is called after each kill; the answer is how many kills met the job still running.
    """

    def killed(
        job: Callable[..., Any],
        arguments: Callable[[], tuple[Any, ...]],
        check: Callable[[], None],
        times: int,
        seed: int,
    ) -> int:
        draw, takes_s = random.Random(seed), _seconds(processes, job, arguments)
        met = 0
        for _ in range(times):
            process = processes.Process(target=job, args=arguments())
            process.start()
            time.sleep(draw.uniform(0, 1.1 * takes_s))
            process.kill()
            process.join()
            met += process.exitcode == -9
            check()
        return met

    return killed


def _seconds(
    processes: ForkServerContext, job: Callable[..., Any], arguments: Callable[[], tuple[Any, ...]]
) -> float:
    """How long the job takes, from the start of its process: the second time, when all is warm."""
    for _ in range(2):
        process = processes.Process(target=job, args=arguments())
        began = time.monotonic()
        process.start()
        process.join()
        assert process.exitcode == 0
    return time.monotonic() - began


@pytest.fixture(scope="session")
def parts_of_whole() -> Callable[[Path], list[str]]:
    """The parts in a folio, every byte of which must be as it was built."""

    def parts(path: Path) -> list[str]:
        check_folio_file(path, afresh=True)
        with open_folio(path) as folio:
            return [row.part for row in folio.parts()]

    return parts
