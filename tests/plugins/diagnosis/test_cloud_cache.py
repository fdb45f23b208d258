"""The first answer about a chip is the answer of every later question."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from made_cloud import Good, Made, make_cloud
from pinfolio.plugins.diagnosis.weighing.cloud_cache import (
    keep_cloud,
    keep_ohms,
    read_cloud,
    read_ohms,
)

SUPPLY_OPEN = Made("part", "R1", "open", dc={"pin 1": (0.0, 0.7)}, shown={"height": 0.123456})
CLOUD = make_cloud("QZ1000", "no signal", {"pin 1": Good(dc=8.1)}, [SUPPLY_OPEN])
ARRAYS = ["dc_v", "vpp_v", "frequency_hz", "ripple_vpp", "words", "shown"]


@pytest.fixture(autouse=True)
def _own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))


def test_a_cloud_is_read_as_it_was_returned_when_kept() -> None:
    first = keep_cloud("{}", "no signal", CLOUD)
    later = read_cloud("{}", "no signal")
    assert later is not None
    assert later.hypotheses == first.hypotheses
    for name in ARRAYS:
        np.testing.assert_array_equal(getattr(first, name), getattr(later, name), name)


def test_without_a_place_to_keep_it_the_cloud_is_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = keep_cloud("{}", "no signal", CLOUD)
    no_folder = tmp_path / "a file"
    no_folder.write_text("")
    monkeypatch.setenv("XDG_CACHE_HOME", str(no_folder))
    np.testing.assert_array_equal(keep_cloud("{}", "no signal", CLOUD).shown, kept.shown)
    assert read_cloud("{}", "no signal") is None


def test_resistances_are_kept_to_half_a_per_cent() -> None:
    ohms = np.geomspace(0.1, 8e6, 500)
    first = keep_ohms("{}", "off", ohms)
    np.testing.assert_allclose(first, ohms, rtol=0.005)
    np.testing.assert_array_equal(first, read_ohms("{}", "off"))
