"""The vector picture: points where the tables put them, in words too, and nothing but a drawing."""

from __future__ import annotations

from math import atan2, degrees, hypot
from xml.etree import ElementTree

import pytest
from pinfolio.plugins.drawing.vector_picture import describe_vectors, draw_vectors

SVG = "{http://www.w3.org/2000/svg}"
MIDDLE = 320
# Phases of the six bars as printed (SMPTE EG 1, EBU; rounded to a degree).
PHASES_DEG = {"yellow": 167, "cyan": 283, "green": 241, "magenta": 61, "red": 103, "blue": 347}


def draw_picture(system: str = "PAL-B/G", bars: float = 75) -> ElementTree.Element:
    return ElementTree.fromstring(draw_vectors(system, bars, "Vectors of 75 % bars"))


def list_points(root: ElementTree.Element) -> list[tuple[float, float]]:
    """Phase in degrees and distance from the middle of each bar, in the order drawn."""
    spots = root.findall(f".//{SVG}circle[@class='vector-bar']")
    across = [(int(s.attrib["cx"]) - MIDDLE, MIDDLE - int(s.attrib["cy"])) for s in spots]
    return [(degrees(atan2(v, u)) % 360, hypot(u, v)) for u, v in across]


@pytest.mark.parametrize("system", ["PAL-B/G", "NTSC-M", "PAL-M"])
def test_bars_are_where_the_tables_put_them(system: str) -> None:
    found = list_points(draw_picture(system))
    assert [phase for phase, _ in found] == pytest.approx(list(PHASES_DEG.values()), abs=0.7)
    assert max(distance for _, distance in found) < 260  # inside the circle


def test_distances_are_in_proportion() -> None:
    """Chroma of 75 % bars in mV: yellow 469.70, cyan 663.95, green 619.98 (EBU)."""
    yellow, cyan, green, *_ = (distance for _, distance in list_points(draw_picture()))
    assert (cyan / yellow, green / yellow) == pytest.approx((663.95 / 469.70, 1.320), abs=0.01)


@pytest.mark.parametrize(("system", "count"), [("NTSC-M", 1), ("PAL-B/G", 2)])
def test_burst_once_in_ntsc_and_twice_in_pal(system: str, count: int) -> None:
    root = draw_picture(system)
    assert len(root.findall(f".//{SVG}path[@class='vector-burst']")) == count
    assert [t.text for t in root.iter(f"{SVG}text")].count("burst") == count


def test_every_bar_is_named() -> None:
    assert set(PHASES_DEG) < {text.text for text in draw_picture().iter(f"{SVG}text")}


def test_the_picture_in_words() -> None:
    assert describe_vectors("NTSC-M", 75) == (
        "NTSC-M colour bars of 75 % as vectors, amplitude in bursts, phase from +U against the "
        "clock: burst at 180°, yellow 1.55 at 167.1°, cyan 2.19 at 283.5°, green 2.05 at 240.7°, "
        "magenta 2.05 at 60.7°, red 2.19 at 103.5°, blue 1.55 at 347.1°."
    )
    assert "mirrored about the U axis" in describe_vectors("PAL-I", 100)


def test_it_needs_no_style_and_a_hostile_title_stays_text() -> None:
    title = 'bars </title><script>alert("x")</script>'
    root = ElementTree.fromstring(draw_vectors("PAL-B/G", 75, title))
    assert (root.get("role"), root.findtext(f"{SVG}title")) == ("img", title)
    assert root.findtext(f"{SVG}desc") == describe_vectors("PAL-B/G", 75)
    assert not [e.tag for e in root.iter() if "style" in e.attrib or e.tag.endswith("}style")]


def test_a_file_of_its_own() -> None:
    svg = draw_vectors("NTSC-J", 100, "bars", standalone=True)
    root = ElementTree.fromstring(svg.encode())
    assert svg.startswith('<?xml version="1.0" encoding="UTF-8"?>')
    assert root.attrib["viewBox"] == f"0 0 {root.attrib['width']} {root.attrib['height']}"


def test_secam_has_none() -> None:
    with pytest.raises(ValueError, match="SECAM-L has no vectors"):
        draw_vectors("SECAM-L", 75, "bars")
