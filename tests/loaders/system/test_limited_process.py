"""A function in a limited child process gives its result, or names the limit it reached."""

from __future__ import annotations

import operator
import os
import time

import pytest
from pinfolio.loaders.system.limited_process import LimitReachedError, Limits, run_limited

LIMITS = Limits(memory_bytes=100_000_000, cpu_s=1, wall_s=30)
SHORT = Limits(memory_bytes=100_000_000, cpu_s=30, wall_s=1)


def test_the_result_comes_back() -> None:
    assert run_limited(operator.add, 2, 3, limits=LIMITS) == 5


def test_memory_beyond_the_limit_is_named() -> None:
    with pytest.raises(LimitReachedError, match="more than 100 MB of memory"):
        run_limited(bytearray, 1_000_000_000, limits=LIMITS)


def test_processor_time_beyond_the_limit_is_named() -> None:
    with pytest.raises(LimitReachedError, match="more than 1 s of processor time"):
        run_limited(pow, 3, 10**9, limits=LIMITS)


def test_wall_time_beyond_the_limit_is_named() -> None:
    with pytest.raises(LimitReachedError, match="more than 1 s"):
        run_limited(time.sleep, 60, limits=SHORT)


def test_a_child_that_ends_without_result_is_named() -> None:
    with pytest.raises(LimitReachedError, match="a crash"):
        run_limited(os._exit, 3, limits=LIMITS)
