"""The fault dictionary as the folio keeps it: what is read back is what was worked out."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.faultfinding.dictionary_bytes import dictionary_bytes, packed, unpacked
from pinfolio.plugins.faultfinding.failures import Effect
from pinfolio.plugins.faultfinding.job import find_fault
from pinfolio.plugins.faultfinding.worked_out import WorkedOut, work_out, working_condition
from pinfolio.schema import Application
from pinfolio.schema.instruments.ordinary import BUILT_IN

FLOAT = {"rtol": 1e-6, "atol": 1e-12}  # four-byte floats hold seven figures
STEMS = sorted(path.stem for path in chip_files())
CHIPS = {path.stem: load_chip(path) for path in chip_files()}


@cache
def known(stem: str) -> WorkedOut:
    return work_out(CHIPS[stem], working_condition(CHIPS[stem]))


@cache
def stored(stem: str) -> bytes:
    return packed(known(stem))


def numbers(effects: dict[str, Effect]) -> list[float]:
    pairs = ((effect.dc_v, effect.vpp_v) for effect in effects.values())
    return [float("nan") if value is None else value for pair in pairs for value in pair]


@pytest.mark.parametrize("stem", STEMS)
def test_stored_equals_computed(stem: str) -> None:
    computed, found = known(stem), unpacked(stored(stem))
    assert found is not None
    assert found.dictionary.condition == computed.dictionary.condition
    assert found.off.points == computed.off.points
    assert found.off.limits == computed.off.limits
    for ours, theirs in ((found.dictionary.failed, computed.dictionary.failed),):
        assert list(ours) == list(theirs)
        for failure, effects in theirs.items():
            assert list(ours[failure]) == list(effects)
            np.testing.assert_allclose(numbers(ours[failure]), numbers(effects), **FLOAT)
    np.testing.assert_allclose(
        numbers(found.dictionary.healthy), numbers(computed.dictionary.healthy), **FLOAT
    )
    assert list(found.off.failed) == list(computed.off.failed)
    np.testing.assert_allclose(
        list(found.off.failed.values()), list(computed.off.failed.values()), **FLOAT
    )
    np.testing.assert_allclose(found.off.healthy, computed.off.healthy, **FLOAT)


@pytest.mark.parametrize("stem", ["mdq3724", "kye2620"])
def test_a_job_says_the_same_with_what_is_stored(stem: str) -> None:
    chip, chosen = CHIPS[stem], BUILT_IN.choose()
    without = find_fault(chip, [], [], chosen).document()
    given_bytes = find_fault(chip, [], [], chosen, stored=stored(stem)).document()
    assert [s["said"] for s in given_bytes["suspects"]] == [s["said"] for s in without["suspects"]]
    assert given_bytes["conclusion"] == without["conclusion"]


def test_a_chip_stays_small() -> None:
    assert max(len(stored(stem)) for stem in STEMS) < 150_000


def test_a_chip_without_parts_has_none() -> None:
    bare = CHIPS["kye2620"].model_copy(update={"application": Application()})
    assert dictionary_bytes(bare) is None


@given(st.binary(max_size=100))
def test_bytes_of_something_else_are_worked_out_anew(data: bytes) -> None:
    assert unpacked(data) is None


@given(st.integers(0, 2000), st.integers(0, 255))
def test_a_changed_byte_is_never_taken_for_another_dictionary(at: int, byte: int) -> None:
    whole = stored("tqz3609")
    at %= len(whole)
    changed = whole[:at] + bytes([byte]) + whole[at + 1 :]
    assert changed == whole or unpacked(changed) is None
