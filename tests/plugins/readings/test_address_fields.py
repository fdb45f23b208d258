"""Readings in the address of a page, as a form of repeated fields sends them."""

from __future__ import annotations

from urllib.parse import parse_qsl

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.plugins.readings.address_fields import (
    MOST_READINGS,
    POINT_FIELDS,
    AddressReading,
    list_lines,
    read_address_fields,
)
from pinfolio.plugins.readings.reading_syntax import PartReading, PointReading, read_line
from pinfolio.schema.reading import BadReading


def read(address: str) -> tuple[AddressReading, ...]:
    return read_address_fields(parse_qsl(address, keep_blank_values=True))


def test_each_at_opens_a_reading() -> None:
    first, second = read("symptom=no+colour&at=7&dc=8.02&at=26&vpp=1.24&seen=jumping")
    assert first.taken == read_line("7 dc=8.02V")
    assert second.taken == read_line("26 vpp=1.24Vpp seen=unstable")
    assert second.line == "26 vpp=1.24 seen=jumping"
    assert second.fields == (("at", "26"), ("vpp", "1.24"), ("seen", "jumping"))


def test_what_is_not_understood_can_still_be_mended_as_lines() -> None:
    address = "at=99&dc=flooby&at=7&to=8&ohms=4k7&part=C406&found=open&reading=3+dc%3D1V"
    lines = ["99 dc=flooby", "7 to 8 ohms=4k7", "C406 open", "3 dc=1V"]
    assert list_lines(parse_qsl(address)) == lines


def test_blank_fields_mean_nothing() -> None:
    (only,) = read("at=&dc=&at=7&dc=&vpp=0,47&freq=&seen=&at=9&part=&found=&reading=")
    assert only.taken == read_line("7 vpp=0.47Vpp")
    assert only.fields == (("at", "7"), ("vpp", "0,47"))


@pytest.mark.parametrize(
    ("address", "line"),
    [
        ("at=OSC&freq=0.9..1.2+MHz", "OSC freq=0.9..1.2 MHz"),
        ("at=7&dc=ok", "7 dc=ok"),
        ("at=7&dc=&seen=skip", "7 skip"),
        ("at=7&seen=none", "7 none"),
        ("at=7&to=crystal-node&ohms=4k7", "7 to crystal-node ohms=4k7"),
        ("at=24+V+rail&dc=24.6", "24 V rail dc=24.6"),
        ("at=R402&ohms=5k2", "R402 ohms=5k2"),
        ("part=C406&found=open", "C406: open"),
        ("part=R402&found=5k2", "R402 measures 5k2"),
        ("part=pin+9&found=resoldered", "pin 9 soldered again"),
        ("part=C406&found=skip", "C406: skip"),
        ("reading=17+dc%3D3.1V", "17 dc=3.1V"),
    ],
)
def test_fields_say_the_same_as_a_line(address: str, line: str) -> None:
    (only,) = read(address)
    assert only.taken == read_line(line)


def test_lines_of_version_0_1_keep_their_place() -> None:
    places = [
        found.taken.place if isinstance(found.taken, PointReading) else found.taken.ref
        for found in read("at=1&dc=2&readings=17+dc%3D3.1V%0D%0A%0D%0AC418+leaky&at=3&dc=4")
    ]
    assert places == ["1", "17", "C418", "3"]


def test_a_part_closes_the_point_before_it() -> None:
    point, part = read("at=7&dc=8&part=C406&found=open")
    assert isinstance(point.taken, PointReading)
    assert part.taken == PartReading("C406", "open")


@pytest.mark.parametrize("address", ["dc=3.1", "at=&dc=3.1", "part=C1&dc=3", "found=open"])
def test_a_figure_without_a_place_is_refused(address: str) -> None:
    with pytest.raises(BadReading, match=r"expected a place before it \(at=7&dc=8\.02\)"):
        read(address)


def test_an_address_holds_so_many_readings() -> None:
    assert len(read("at=7&dc=8&" * MOST_READINGS)) == MOST_READINGS
    with pytest.raises(BadReading, match="expected at most 60"):
        read("at=7&dc=8&" * (MOST_READINGS + 1))


@given(st.lists(st.tuples(st.sampled_from((*POINT_FIELDS, "part", "reading")), st.text())))
def test_any_address_is_read_or_refused(fields: list[tuple[str, str]]) -> None:
    try:
        found = read_address_fields(fields)
    except BadReading:
        return
    assert [read_line(one.line) for one in found] == [one.taken for one in found]
