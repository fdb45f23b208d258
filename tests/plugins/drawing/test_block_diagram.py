"""The block diagram: every stage and pin once, nothing on top of anything, signals run down."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import combinations, pairwise
from typing import Any, NamedTuple
from xml.etree import ElementTree
from xml.etree.ElementTree import Element

import pytest
from hypothesis import given
from hypothesis import settings as effort
from hypothesis import strategies as st
from pinfolio.plugins.drawing.block_diagram import draw_block_diagram
from pinfolio.plugins.drawing.block_layout import (
    Trunk,
    find_signals_between,
    lay_out,
    order_by_flow,
)
from pinfolio.schema import Chip, Pin

from ...demo_chips import DEMO

SVG = "{http://www.w3.org/2000/svg}"
CHIPS = [*DEMO.values()]
demo = pytest.mark.parametrize("drawn", CHIPS, ids=lambda chip: chip.part)


class Area(NamedTuple):
    """A rectangle of the drawing."""

    x: float
    y: float
    width: float
    height: float

    def meets(self, other: Area) -> bool:
        return (
            self.x < other.x + other.width
            and other.x < self.x + self.width
            and self.y < other.y + other.height
            and other.y < self.y + self.height
        )


def make_chip(blocks: list[dict[str, Any]], pins: int = 8) -> Chip:
    """An invented chip with these stages, ground at the last pin but one, supply at the last."""
    roles = {pins: "supply", pins - 1: "ground"}
    fields = {
        "part": "QZ1234",
        "maker": "Tannhof Halbleiter",
        "kind": "jungle",
        "summary": "Invented example.",
        "invented": True,
        "package": {"family": "DIP", "pins": pins},
        "supplies": [{"name": "VCC", "pins": [pins], "voltage": "8 V"}],
        "sources": [{"id": "sheet", "kind": "data sheet", "title": "Preliminary data"}],
        "conditions": [{"name": "colour bars", "means": "Bars at the aerial socket."}],
        "blocks": [{"name": block["id"], **block} for block in blocks],
        "pins": [
            {
                "number": number,
                "symbol": f"SYM{number}",
                "function": "what it does",
                "role": roles.get(number, "input"),
            }
            for number in range(1, pins + 1)
        ],
    }
    return Chip.model_validate(fields)


def link(pin: Pin) -> str:
    return f"/chip/QZ1234/{pin.number}"


def draw_diagram(of: Chip, **options: Any) -> Element:
    return ElementTree.fromstring(draw_block_diagram(of, link, **options).encode())


def list_boxes(root: Element) -> list[tuple[str, Area]]:
    """Name and place of every stage, in the order of the drawing."""
    return [
        (e.attrib["aria-label"], measure_area(e)) for e in root.iter() if e.get("class") == "block"
    ]


def measure_area(element: Element) -> Area:
    rect = element.find(f"{SVG}rect")
    assert rect is not None
    return Area(*(float(rect.attrib[name]) for name in ("x", "y", "width", "height")))


def order(of: Chip) -> list[str]:
    return [block.id for block in order_by_flow(of)]


@demo
def test_every_stage_and_every_pin_is_drawn_once(drawn: Chip) -> None:
    root = draw_diagram(drawn)
    names = [name.partition(";")[0] for name, _ in list_boxes(root)]
    assert sorted(names) == sorted(block.name for block in drawn.blocks)
    links = [a.attrib["href"] for a in root.iter(f"{SVG}a")]
    assert sorted(links) == sorted(link(pin) for pin in drawn.pins)


@demo
def test_no_box_and_no_pin_lies_on_another(drawn: Chip) -> None:
    root = draw_diagram(drawn)
    shift = max(
        float(y) for y in re.findall(r'"translate\(0 ([0-9.]+)\)', draw_block_diagram(drawn))
    )
    beside = {e for g in root.iter(f"{SVG}g") if g.get("transform") for e in g.iter()}
    places = [
        measure_area(e)._replace(y=measure_area(e).y + (shift if e in beside else 0))
        for e in root.iter()
        if e.get("class") in ("block", "block-pin")
    ]
    assert len(places) == len(drawn.blocks) + len(drawn.pins)
    assert not [pair for pair in combinations(places, 2) if pair[0].meets(pair[1])]
    _, _, width, height = map(float, root.attrib["viewBox"].split())
    assert all(p.x >= 0 and p.x + p.width <= width and p.y + p.height <= height for p in places)


@demo
def test_a_phone_shows_it_with_letters_of_eleven_pixels(drawn: Chip) -> None:
    """A screen of 360 pixels leaves 328; the wide class makes the rest a box to be scrolled."""
    root = draw_diagram(drawn)
    width = float(root.attrib["viewBox"].split()[2])
    sizes = [float(e.attrib["font-size"]) for e in root.iter() if "font-size" in e.attrib]
    assert "wide" in root.attrib["class"] or min(sizes) * 328 / width >= 11


@demo
def test_every_signal_between_stages_is_drawn(drawn: Chip) -> None:
    laid = lay_out(drawn, {block.id: 30.0 for block in drawn.blocks})
    lines = {(trunk.source, end) for trunk in laid.left for end, _ in trunk.ends}
    lines |= {(upper.block.id, lower.block.id) for upper, lower in laid.straight}
    feeds = find_signals_between(drawn)
    assert lines == {(name, other) for name, others in feeds.items() for other in others}


def list_ends(trunks: tuple[Trunk, ...]) -> Iterator[tuple[int, float, float]]:
    for trunk in trunks:
        yield trunk.lane, *trunk.span


@demo
def test_lines_of_different_signals_share_no_lane(drawn: Chip) -> None:
    laid = lay_out(drawn, {block.id: 30.0 for block in drawn.blocks})
    for trunks in (laid.left, laid.right):
        spans = sorted(list_ends(trunks))
        assert all(a[2] < b[1] for a, b in pairwise(spans) if a[0] == b[0])


@demo
def test_no_style_no_script_and_a_name(drawn: Chip) -> None:
    root = draw_diagram(drawn)
    assert not [e for e in root.iter() if e.tag.rpartition("}")[2] in ("style", "script")]
    assert not [e for e in root.iter() for name in e.attrib if name == "style" or name[:2] == "on"]
    assert root.attrib["role"] == "group"
    assert root.findtext(f"{SVG}title") == f"{drawn.part}, block diagram"
    assert "from the top down" in (root.findtext(f"{SVG}desc") or "")


def test_signals_run_down_whatever_the_order_of_the_file() -> None:
    chain = [
        {"id": "last", "inputs": ["middle"], "outputs": ["pin 3"]},
        {"id": "middle", "inputs": ["first"]},
        {"id": "first", "inputs": ["pin 1"]},
    ]
    assert order(make_chip(chain)) == ["first", "middle", "last"]


def test_a_signal_through_a_pin_runs_down_as_well() -> None:
    through = [
        {"id": "oscillator", "inputs": ["pin 2"]},
        {"id": "detector", "inputs": ["pin 1"], "outputs": ["pin 2"]},
    ]
    assert order(make_chip(through)) == ["detector", "oscillator"]


def test_a_loop_is_cut_where_it_closes() -> None:
    loop = [
        {"id": "detector", "inputs": ["pin 1", "divider"], "outputs": ["oscillator"]},
        {"id": "oscillator", "outputs": ["divider"]},
        {"id": "divider", "outputs": ["pin 3"]},
    ]
    assert order(make_chip(loop)) == ["detector", "oscillator", "divider"]
    laid = lay_out(make_chip(loop), dict.fromkeys(("detector", "oscillator", "divider"), 30.0))
    (back,) = laid.left
    assert (back.source, [end for end, _ in back.ends]) == ("divider", ["detector"])
    assert back.start_y > back.ends[0][1]


@effort(max_examples=60, deadline=None)
@given(st.sets(st.tuples(st.integers(0, 7), st.integers(0, 7)), max_size=30))
def test_without_loops_no_signal_runs_up(pairs: set[tuple[int, int]]) -> None:
    down = {(a, b) for a, b in pairs if a < b}
    blocks = [
        {"id": f"s{n}", "inputs": [f"s{a}" for a, b in sorted(down) if b == n] or ["pin 1"]}
        for n in (5, 2, 7, 0, 3, 6, 1, 4)
    ]
    place = {name: at for at, name in enumerate(order(make_chip(blocks)))}
    assert all(place[f"s{a}"] < place[f"s{b}"] for a, b in down)


def test_what_several_stages_need_and_what_none_uses_stand_apart() -> None:
    shared = [
        {"id": "one", "inputs": ["pin 1"], "needs": ["pin 8"]},
        {"id": "two", "inputs": ["one"], "outputs": ["pin 2"], "needs": ["pin 8", "pin 3"]},
    ]
    laid = lay_out(make_chip(shared), {"one": 30.0, "two": 30.0})
    assert [pin.number for pin in laid.shared] == [8]
    assert [pin.number for pin in laid.alone] == [4, 5, 6, 7]
    assert [[pin.number for pin in stage.pins] for stage in laid.stages] == [[1], [3, 2]]
    assert "needs pin 8" in draw_block_diagram(make_chip(shared))


def test_states_are_told_by_sign_word_and_frame() -> None:
    blocks = [{"id": "gate", "inputs": ["pin 1"]}, {"id": "clamp", "inputs": ["gate"]}]
    root = draw_diagram(
        make_chip(blocks), marks={"gate": ("✗", "bad"), "pin 1": ("✓", "proved good")}
    )
    words = {text.text for text in root.iter(f"{SVG}text")}
    assert {"✗ bad", "✓ proved good"} <= words
    assert list_boxes(root)[0][0].startswith("gate: bad; from pin 1 SYM1")
    names = {a.attrib["href"]: a.attrib["aria-label"] for a in root.iter(f"{SVG}a")}
    assert names["/chip/QZ1234/1"] == "pin 1 SYM1, input: proved good"
    frames = [e.find(f"{SVG}rect") for e in root.iter() if e.get("class") == "block"]
    assert len({frame.get("stroke-width") for frame in frames if frame is not None}) == 2


def test_hostile_names_stay_text() -> None:
    name = '<script>alert("1")</script>\u202e'
    svg = draw_block_diagram(make_chip([{"id": "gate", "name": name, "inputs": ["pin 1"]}]), link)
    ElementTree.fromstring(svg.encode())
    assert "<script" not in svg
    assert "\u202e" not in svg


def test_a_chip_without_stages_has_no_diagram() -> None:
    assert draw_block_diagram(make_chip([])) == ""
