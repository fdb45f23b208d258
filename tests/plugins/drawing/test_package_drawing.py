"""The package drawing: true proportions, both sides, every pin named, nothing unsafe."""

from __future__ import annotations

import re
from itertools import pairwise
from typing import Any
from xml.etree import ElementTree
from xml.etree.ElementTree import Element

import pytest
from hypothesis import given
from hypothesis import settings as effort
from hypothesis import strategies as st
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.drawing.package_drawing import draw_package
from pinfolio.plugins.drawing.pin_marks import draw_mark
from pinfolio.schema import Chip, Pin
from pinfolio.schema.vocabulary import ROLES

SVG = "{http://www.w3.org/2000/svg}"
FAMILIES = [
    ("DIP", 8),
    ("SDIP", 52),
    ("SIP", 9),
    ("ZIP", 15),
    ("SO", 28),
    ("SSOP", 28),
    ("QFP", 44),
]


def make_chip(family: str, pins: int, symbols: dict[int, str] | None = None) -> Chip:
    """An invented chip that goes through all the roles; the supply pins are one supply."""
    listed = [
        {
            "number": number,
            "symbol": (symbols or {}).get(number, f"SYM{number}"),
            "function": "what it does",
            "role": ROLES[(number - 1) % len(ROLES)],
        }
        for number in range(1, pins + 1)
    ]
    supplied = [pin["number"] for pin in listed if pin["role"] == "supply"]
    fields: dict[str, Any] = {
        "part": "QZ1234",
        "maker": "Tannhof Halbleiter",
        "kind": "jungle",
        "summary": "Invented example.",
        "invented": True,
        "package": {"family": family, "pins": pins},
        "supplies": [{"name": "VCC", "pins": supplied, "voltage": "8 V"}],
        "sources": [{"id": "sheet", "kind": "data sheet", "title": "Preliminary data"}],
        "conditions": [{"name": "colour bars", "means": "Bars at the aerial socket."}],
        "pins": listed,
    }
    return Chip.model_validate(fields)


def link(pin: Pin) -> str:
    return f"/chip/QZ1234/{pin.number}?a=1&b=2"


def list_feet(svg: str) -> dict[int, tuple[float, float]]:
    """Where the feet are in the drawing, by the number each pin is named with."""
    found = {}
    for pin in _list_pins(ElementTree.fromstring(svg)):
        named = re.match(r"pin ([0-9]+)", pin.findtext(f"{SVG}title") or "")
        placed = re.match(r"translate\(([-0-9.]+) ([-0-9.]+)\)", _group(pin).attrib["transform"])
        assert named is not None
        assert placed is not None
        found[int(named[1])] = (float(placed[1]), float(placed[2]))
    return found


def _list_pins(root: Element) -> list[Element]:
    return [e for e in root.iter() if e.get("class", "").startswith("package-pin")]


def _group(pin: Element) -> Element:
    group = pin.find(f"{SVG}g")
    assert group is not None
    return group


@pytest.mark.parametrize(
    ("family", "pins", "pitch_mm", "rows_mm"),
    [
        ("DIP", 8, 2.54, 7.62),  # JEDEC MS-001
        ("DIP", 40, 2.54, 15.24),  # JEDEC MS-011
        ("SDIP", 52, 1.778, 15.24),  # common practice
        ("QFP", 32, 0.8, 8.4),  # JEDEC MS-026 ABA: 9 mm over the leads, feet about 0.6 mm
    ],
)
def test_pitch_and_rows_are_in_proportion(
    family: str, pins: int, pitch_mm: float, rows_mm: float
) -> None:
    at = list_feet(draw_package(make_chip(family, pins)))
    assert at[1][0] == at[2][0]
    pitch = at[2][1] - at[1][1]
    assert 2 * abs(at[1][0]) / pitch == pytest.approx(rows_mm / pitch_mm, rel=0.02)


@pytest.mark.parametrize(("family", "pins"), FAMILIES)
def test_the_solder_side_is_the_mirror_image(family: str, pins: int) -> None:
    top = list_feet(draw_package(make_chip(family, pins), "top"))
    solder = list_feet(draw_package(make_chip(family, pins), "solder"))
    assert solder == {number: (pytest.approx(-x, abs=0.01), y) for number, (x, y) in top.items()}


@pytest.mark.parametrize(
    ("family", "side", "words"),
    [
        ("DIP", "top", "Count down the left side, then up the right."),
        ("DIP", "solder", "Count down the right side, then up the left."),
        ("SIP", "top", "Count from left to right, marked side at the bottom."),
        ("QFP", "solder", "Count down the right side and on round."),
    ],
)
def test_the_drawing_says_which_way_to_count(family: str, side: Any, words: str) -> None:
    svg = draw_package(make_chip(family, 8), side)
    root = ElementTree.fromstring(svg)
    assert words in {text.text for text in root.iter(f"{SVG}text")}
    assert root.findtext(f"{SVG}desc") == words
    seen = {"top": "seen from the top", "solder": "seen from the solder side"}[side]
    assert (root.findtext(f"{SVG}title") or "").endswith(seen)


@pytest.mark.parametrize(("family", "pins"), FAMILIES)
def test_neighbouring_symbols_have_room(family: str, pins: int) -> None:
    """Symbols are 11.5 units high; those that point the same way are further apart than that."""
    root = ElementTree.fromstring(draw_package(make_chip(family, pins)))
    sides: dict[str, list[float]] = {}
    for pin in _list_pins(root):
        x, y, turn = re.findall(r"-?[0-9.]+", _group(pin).attrib["transform"])
        sides.setdefault(turn, []).append(float(y if turn in ("0", "180") else x))
    for places in sides.values():
        assert min(b - a for a, b in pairwise(sorted(places))) >= 14.4


def test_every_pin_is_a_link_with_a_name() -> None:
    drawn = make_chip("SDIP", 52, {13: "CVBS IN"})
    root = ElementTree.fromstring(draw_package(drawn, "top", 13, link))
    assert root.get("role") == "group"  # an image would hide the links inside from a screen reader
    links = list(root.iter(f"{SVG}a"))
    assert {a.attrib["href"] for a in links} == {link(pin) for pin in drawn.pins}
    names = {a.attrib["href"]: a.attrib["aria-label"] for a in links}
    assert names[link(drawn.pins[12])] == "pin 13 CVBS IN, " + ROLES[12 % len(ROLES)]


def test_the_pin_in_question_stands_out_without_colour() -> None:
    root = ElementTree.fromstring(draw_package(make_chip("DIP", 16), "top", 3, link))
    current = [a for a in root.iter(f"{SVG}a") if a.get("aria-current") == "true"]
    assert [a.attrib["aria-label"] for a in current] == ["pin 3 SYM3, input"]
    weights = {text.attrib["font-weight"] for text in current[0].iter(f"{SVG}text")}
    assert weights == {"bold"}
    assert current[0].find(f".//{SVG}rect[@class='package-frame']") is not None
    assert len(root.findall(f".//{SVG}rect[@class='package-frame']")) == 1
    assert (root.findtext(f"{SVG}title") or "").endswith("pin 3 pointed out")


def test_without_links_it_is_an_image() -> None:
    root = ElementTree.fromstring(draw_package(make_chip("DIP", 16)))
    assert root.get("role") == "img"
    assert not list(root.iter(f"{SVG}a"))
    assert len(_list_pins(root)) == 16


def test_each_role_has_a_mark_of_its_own_and_a_word_in_the_legend() -> None:
    shapes = {re.search(r' d="([^"]+)"', draw_mark(role, 0)) for role in ROLES}
    assert len({shape[1] for shape in shapes if shape is not None}) == len(ROLES)
    root = ElementTree.fromstring(draw_package(make_chip("DIP", 16)))
    legend = root.find(f".//{SVG}g[@class='pin-legend']")
    assert legend is not None
    assert [text.text for text in legend.iter(f"{SVG}text")] == list(ROLES)


def test_a_position_that_is_not_listed_is_drawn_and_leads_nowhere() -> None:
    whole = make_chip("DIP", 8)
    partly = whole.model_copy(update={"pins": tuple(p for p in whole.pins if p.number != 5)})
    root = ElementTree.fromstring(draw_package(partly, link=link))
    assert len(list(root.iter(f"{SVG}a"))) == 7
    assert "pin 5, not listed" in {pin.findtext(f"{SVG}title") for pin in _list_pins(root)}


def test_a_symbol_that_looks_like_a_number_is_no_pin_number() -> None:
    root = ElementTree.fromstring(draw_package(make_chip("DIP", 8, {2: "3"}), "top", 3, link))
    assert len({a.attrib["href"] for a in root.iter(f"{SVG}a")}) == 8
    assert [a.attrib["href"] for a in root.iter(f"{SVG}a")][-1].startswith("/chip/QZ1234/3?")


def test_hostile_text_stays_text() -> None:
    symbol = '<script>alert("1")</script>\u202e\x1b'
    hostile = make_chip("DIP", 8, {3: symbol})
    svg = draw_package(hostile, "top", 3, lambda pin: f'/x"><script>{pin.symbol}')
    assert "<script" not in svg
    assert "\u202e" not in svg
    root = ElementTree.fromstring(svg)
    names = {a.attrib["aria-label"] for a in root.iter(f"{SVG}a")}
    assert 'pin 3 <script>alert("1")</script>\\u202e\\x1b, input' in names


@pytest.mark.parametrize("standalone", [False, True])
def test_no_style_and_no_script(standalone: bool) -> None:
    svg = draw_package(make_chip("QFP", 44), "top", 15, link, standalone=standalone)
    root = ElementTree.fromstring(svg.encode())
    assert not [
        e.tag
        for e in root.iter()
        if e.tag.rpartition("}")[2] in ("style", "script")
        or any(name == "style" or name.startswith("on") for name in e.attrib)
    ]
    assert svg.startswith("<?xml") == standalone


@effort(max_examples=40)
@given(st.sampled_from(FAMILIES), st.text(min_size=1, max_size=60).filter(str.strip))
def test_any_symbol_gives_well_formed_xml(package: tuple[str, int], symbol: str) -> None:
    svg = draw_package(make_chip(*package, {2: symbol}), "solder", 2, link)
    assert len(_list_pins(ElementTree.fromstring(svg.encode()))) == package[1]


@pytest.mark.parametrize("side", ["top", "solder"])
def test_the_demo_chips(side: Any) -> None:
    for path in chip_files():
        drawn = load_chip(path)
        at = list_feet(draw_package(drawn, side, drawn.pins[0].number, link))
        assert sorted(at) == list(range(1, drawn.package.pins + 1))
