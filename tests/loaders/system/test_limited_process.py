"""A function in a limited child process gives its result, or names the limit it reached."""

from __future__ import annotations

import operator
import os
import time
from pathlib import Path

import pytest
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.loaders.errors import ChipFileError
from pinfolio.loaders.system.limited_process import LimitReachedError, Limits, run_limited

LIMITS = Limits(memory_bytes=100_000_000, cpu_s=1, wall_s=30)
SHORT = Limits(memory_bytes=100_000_000, cpu_s=30, wall_s=1)


def test_the_result_comes_back() -> None:
    assert run_limited(operator.add, 2, 3, limits=LIMITS) == 5


def test_an_error_raised_on_purpose_comes_back_with_its_faults(tmp_path: Path) -> None:
    chip_file = tmp_path / "chip.yaml"
    chip_file.write_text("part: XQ1\nbogus: 1\n")
    with pytest.raises(ChipFileError) as here:
        load_chip(chip_file)
    with pytest.raises(ChipFileError) as from_child:
        run_limited(load_chip, chip_file, limits=LIMITS)
    assert from_child.value.faults == here.value.faults
    assert str(from_child.value) == str(here.value)


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
