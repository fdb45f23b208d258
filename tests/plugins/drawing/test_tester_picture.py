"""The figure of a component tester as SVG: closed, in place, described."""

from __future__ import annotations

from xml.etree import ElementTree

from pinfolio.plugins.drawing.tester_picture import draw_tester_figure


def test_a_line_goes_up_to_the_right_through_the_middle() -> None:
    shares = ([0.0, 0.5, 0.0, -0.5], [0.0, 0.5, 0.0, -0.5])
    svg = draw_tester_figure(shares, "R1 <1k>", "slanted line", standalone=True)
    root = ElementTree.fromstring(svg.encode())
    (trace,) = (path for path in root.iter() if path.get("class") == "scope-trace")
    assert trace.attrib["d"] == "M500 400L725 225L500 400L275 575Z"
    assert root.attrib["aria-label"] == "R1 <1k>"
    assert "slanted line" in svg
