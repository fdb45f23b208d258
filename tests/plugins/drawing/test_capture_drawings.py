"""Drawings of what was captured: difference, vectors over target boxes, spectrum."""

from __future__ import annotations

import re
from math import hypot
from xml.etree import ElementTree

import numpy as np
import pytest
from pinfolio.plugins.drawing.comparison_picture import draw_comparison
from pinfolio.plugins.drawing.difference_picture import DifferenceTrace, draw_difference
from pinfolio.plugins.drawing.scope_settings import choose_scope_settings
from pinfolio.plugins.drawing.scope_trace import compute_trace
from pinfolio.plugins.drawing.spectrum_picture import SpectrumMark, SpectrumTrace, draw_spectrum
from pinfolio.plugins.drawing.vector_display import TargetBox, VectorDisplay, draw_vector_display
from pinfolio.schema import Expectation
from pinfolio.schema.waveforms.vectors import Vector

COLUMNS = 500


def find(svg: str, name: str) -> list[ElementTree.Element]:
    return [node for node in ElementTree.fromstring(svg).iter() if node.get("class") == name]


def make_difference(upper_v: float, outside: slice = slice(0)) -> DifferenceTrace:
    is_outside = np.zeros(COLUMNS, dtype=bool)
    is_outside[outside] = True
    return DifferenceTrace(
        upper_v=np.full(COLUMNS, upper_v),
        lower_v=np.zeros(COLUMNS),
        most_v=np.full(COLUMNS, 0.1),
        least_v=np.full(COLUMNS, -0.1),
        is_outside=is_outside,
    )


@pytest.mark.parametrize(("volts", "per_div"), [(0.01, 0.1), (0.3, 0.2), (-1.7, 1.0), (9.0, 5.0)])
def test_the_scale_shows_difference_and_band(volts: float, per_div: float) -> None:
    assert make_difference(volts).volts_per_div == pytest.approx(per_div)


def test_columns_outside_are_marked_at_the_foot() -> None:
    svg = draw_difference(make_difference(0.3, slice(100, 150)), "difference", "words")
    (marks,) = find(svg, "difference-outside")
    assert marks.attrib["d"].startswith("M200 386h100")  # columns of 2 units, 14 above the foot


def test_nothing_known_is_drawn_as_nothing() -> None:
    nothing = np.full(COLUMNS, np.nan)
    zeros = np.zeros(COLUMNS)
    difference = DifferenceTrace(nothing, nothing, zeros, zeros, np.zeros(COLUMNS, dtype=bool))
    edges = find(draw_difference(difference, "difference", "words"), "difference-edge")
    assert [edge.attrib["d"] for edge in edges] == ["", ""]


def test_a_comparison_has_the_difference_below_the_screen() -> None:
    expectation = Expectation.model_validate(
        {"condition": "bars", "dc": "5 V", "source": {"id": "sheet"}}
    )
    settings = choose_scope_settings(expectation)
    assert settings is not None
    trace = compute_trace(expectation, settings)
    over = (trace.low_v - 0.5, trace.high_v)
    alone = draw_comparison(trace, settings, over, None, "pin 1")
    both = draw_comparison(trace, settings, over, make_difference(0.3), "pin 1", standalone=True)
    heights = [
        int(ElementTree.fromstring(svg.encode()).attrib["viewBox"].split()[3])
        for svg in (alone, both)
    ]
    assert heights[1] - heights[0] > 400
    assert "Captured less expected, 200 mV/div" in both


RED = Vector("red", 2.2, 103.5)


def display(*measured: Vector) -> VectorDisplay:
    box = TargetBox(RED, 0.7 * RED.amplitude, 1.4 * RED.amplitude, 10.0)
    return VectorDisplay((box,), measured, (Vector("burst", 1.0, 180.0),), ())


def test_a_vector_in_place_lies_on_its_square() -> None:
    svg = draw_vector_display(display(RED), "vectors", "words")
    (diamond,) = find(svg, "vector-measured")
    (target,) = find(svg, "vector-target")
    x, top = map(int, re.match(r"M(\d+) (\d+)", diamond.attrib["d"]).groups())  # type: ignore[union-attr]
    left, upper = map(int, re.match(r"M(\d+) (\d+)", target[1].attrib["d"]).groups())  # type: ignore[union-attr]
    assert (x, top + 11) == (left + 8, upper + 8)
    assert not find(svg, "vector-off")


def test_a_box_is_as_long_as_its_limits() -> None:
    """From 0.7 to 1.4 of 2.2 bursts with 3.5 at the circle of 260 units: 114 units."""
    (target,) = find(draw_vector_display(display(), "vectors", "words"), "vector-target")
    corners = re.findall(r"(?<![\d.])(\d{2,3}) (\d{2,3})(?=[AL])", target[0].attrib["d"])
    (outer_x, outer_y), _, (inner_x, inner_y) = (tuple(map(int, corner)) for corner in corners[:3])
    outer = hypot(outer_x - 320, outer_y - 320)
    inner = hypot(inner_x - 320, inner_y - 320)
    assert outer - inner == pytest.approx(0.7 * 2.2 / 3.5 * 260, abs=3)


def test_a_vector_elsewhere_is_joined_to_its_place_and_stays_on_the_disc() -> None:
    far = Vector("red", 6.0, 280.0)
    shown = display(far)
    assert shown.full_scale >= 6.0
    assert len(find(draw_vector_display(shown, "vectors", "words"), "vector-off")) == 1


def make_spectrum(*marks: SpectrumMark) -> SpectrumTrace:
    levels = np.full(440, -80.0)
    levels[220] = -20.0
    return SpectrumTrace(10.0, 1e6, levels, marks)


def test_marks_have_their_names_and_levels_in_words() -> None:
    line = SpectrumMark("line", "line", 15_625.0, -20.2)
    mains = SpectrumMark("mains", "mains", 50.0, None)
    svg = draw_spectrum(make_spectrum(line, mains), "spectrum", "short")
    root = ElementTree.fromstring(svg)
    description = next(node.text for node in root.iter() if node.tag.endswith("desc"))
    assert description == "line 15.625 kHz: -20 dBV; mains 50 Hz: nothing above noise. short"
    assert len(find(svg, "spectrum-mark")) == 2


def test_a_harmonic_without_a_name_has_a_short_tick() -> None:
    svg = draw_spectrum(make_spectrum(SpectrumMark("line", "", 46_875.0, -30.0)), "spectrum")
    (tick,) = find(svg, "spectrum-mark")
    assert tick.attrib["d"].endswith("v14")
    assert not find(svg, "spectrum-name")


def test_the_scale_goes_in_steps_of_20_db() -> None:
    spectrum = make_spectrum()
    assert (spectrum.top_dbv, spectrum.bottom_dbv) == (0, -100)
