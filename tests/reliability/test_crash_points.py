"""A fault at every step of a build that touches a file: the old folio or the new one, never half.

The build is run once to count the steps, then once for each of them, at which it fails.
"""

from __future__ import annotations

import errno
import os
import sqlite3
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from types import FrameType
from typing import Any

import pytest
from pinfolio.loaders import FolioError
from pinfolio.loaders.folio.build import build_from_chips
from pinfolio.schema import Chip

Parts = Callable[[Path], list[str]]

STEPS = {
    *("open", "flock", "chmod", "fsync", "replace", "unlink", "connect"),
    *("BufferedRandom.write", "BufferedReader.read", "Connection.close"),
    *("Connection.execute", "Connection.executemany", "Connection.executescript"),
}
"""Functions written in C, by their qualified names, through which all of it goes."""

Fault = Callable[[str], BaseException]
"""What happens instead of a step, by its name."""


def make_interrupt(_: str) -> BaseException:
    return KeyboardInterrupt()


def make_memory_error(_: str) -> BaseException:
    return MemoryError()


def make_disk_full_error(step: str) -> BaseException:
    if step.startswith("Connection."):
        return sqlite3.OperationalError("database or disk is full")
    return OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def run_with_fault(job: Callable[[], object], at: int, fault: Fault | None) -> list[str]:
    """Run the job; instead of its step number ``at`` the fault happens. The steps that were met."""
    met: list[str] = []

    def before_each_call(_: FrameType, event: str, called: Any) -> None:
        if event == "c_call" and getattr(called, "__qualname__", "") in STEPS:
            met.append(called.__qualname__)
            if len(met) == at + 1 and fault is not None:
                raise fault(met[-1])  # which also ends the watching

    sys.setprofile(before_each_call)
    try:
        job()
    except (FolioError, KeyboardInterrupt, MemoryError):
        assert fault is not None
    finally:
        sys.setprofile(None)
    return met


@pytest.mark.parametrize("fault", [make_interrupt, make_memory_error, make_disk_full_error])
def test_a_fault_at_any_step(
    fault: Fault, folio_path: Path, chips: Sequence[Chip], parts_of_whole: Parts
) -> None:
    def build_other() -> None:
        build_from_chips(chips[1:], folio_path)

    steps = run_with_fault(build_other, -1, None)
    assert {"connect", "executemany", "replace", "fsync"} <= {s.split(".")[-1] for s in steps}
    outcomes = set()
    for at in range(len(steps)):
        build_from_chips(chips[:1], folio_path)
        met = run_with_fault(build_other, at, fault)
        outcomes.add(tuple(parts_of_whole(folio_path)))
        left = [path for path in folio_path.parent.iterdir() if path != folio_path]
        # What could not be removed is still there; the next build sees to it.
        assert not left or met[at] == "unlink", f"after {met[at]}, step {at}"
    assert outcomes == {(chip.part,) for chip in chips}
    build_from_chips(chips[:1], folio_path)
    assert list(folio_path.parent.iterdir()) == [folio_path]
