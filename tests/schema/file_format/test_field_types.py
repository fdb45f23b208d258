"""The type of each place in a chip file: its keys, the step further in, and its unit."""

from __future__ import annotations

import pytest
from pinfolio.schema.chips.application import Application
from pinfolio.schema.chips.data import Pin
from pinfolio.schema.file_format.field_types import (
    WHOLE_FILE,
    Sort,
    find_unit,
    is_model,
    list_keys,
    step_into,
)


def walk_to(*steps: str | int, kind: str | None = None) -> Sort:
    place = WHOLE_FILE
    for step in steps:
        place = step_into(place, step, kind)
    return place


def test_keys_come_in_the_order_of_the_model() -> None:
    assert list_keys(WHOLE_FILE)[:4] == ("file_format", "part", "maker", "kind")
    assert list_keys(walk_to("pins", 7))[:4] == ("number", "symbol", "function", "role")


def test_a_value_that_is_not_a_map_has_no_keys() -> None:
    assert list_keys(walk_to("part")) == ()
    assert list_keys(walk_to("pins")) == ()


def test_a_waveform_has_the_keys_of_its_kind() -> None:
    waveform = walk_to("pins", 0, "expectations", 0, "waveform")
    assert list_keys(waveform, "sine") == ("kind", "frequency", "vpp")
    assert list_keys(waveform, "no such kind") == ()
    assert find_unit(step_into(waveform, "vpp", "sine")) == "Vpp"


@pytest.mark.parametrize(
    ("steps", "unit"),
    [
        (("pins", 0, "absolute_maximum"), "V"),
        (("supplies", 2, "current"), "A"),
        (("package", "pitch"), "m"),
        (("application", "pull_in"), "Hz"),
        (("part",), None),
        (("pins", 0), None),
    ],
)
def test_the_unit_of_a_quantity(steps: tuple[str | int, ...], unit: str | None) -> None:
    assert find_unit(walk_to(*steps)) == unit


def test_a_pair_has_a_type_for_each_index() -> None:
    points = step_into(walk_to("pins", 0, "expectations", 0, "waveform"), "points", "polyline")
    pair = step_into(points, 3)
    assert [find_unit(step_into(pair, index)) for index in (0, 1)] == ["s", "V"]
    assert step_into(pair, 2) is None


def test_an_unknown_key_has_no_type() -> None:
    assert walk_to("no such key") is None
    assert step_into(None, "part") is None


def test_a_model_is_told_from_others() -> None:
    assert is_model(walk_to("pins", 0), Pin)
    assert is_model(walk_to("application"), Pin, Application)
    assert not is_model(walk_to("pins"), Pin)
