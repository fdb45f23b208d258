"""The beam as a tube shows it: carriers as smooth bands, bright at their edges, bursts upright."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import numpy as np
import pytest
from pinfolio.plugins.drawing.scope_beam import draw_beam, draw_captured
from pinfolio.plugins.drawing.scope_settings import ScopeSettings, choose_scope_settings
from pinfolio.plugins.drawing.scope_trace import Trace, compute_trace
from pinfolio.schema import Expectation

CHROMINANCE = {
    "kind": "chrominance", "system": "PAL-B/G", "bars": "75 %", "burst": "300 mVpp"
}  # fmt: skip


def view(waveform: dict[str, str]) -> tuple[Trace, ScopeSettings]:
    fields = {"condition": "bars", "source": {"id": "sheet"}, "dc": "3 V", "waveform": waveform}
    expectation = Expectation.model_validate(fields)
    settings = choose_scope_settings(expectation)
    assert settings is not None
    return compute_trace(expectation, settings), settings


def list_areas(svg: str, name: str) -> list[list[tuple[int, int]]]:
    """Return the corners of each closed area of the paths of a class."""
    root = ElementTree.fromstring(svg)
    paths = [node.attrib["d"] for node in root.iter() if node.get("class") == name]
    return [
        [(int(x), int(y)) for x, y in re.findall(r"(\d+) (\d+)", area)]
        for path in paths
        for area in path.split("M")[1:]
    ]


@pytest.mark.parametrize("system", ["PAL-B/G", "NTSC-M"])
def test_a_band_has_no_blotches(system: str) -> None:
    """A grade begins and ends with its bar: none is narrower than the burst, 2.2 µs of 200."""
    trace, settings = view({**CHROMINANCE, "system": system})
    areas = list_areas(draw_beam(trace, settings), "scope-grade")
    widths = [max(x for x, _ in area) - min(x for x, _ in area) for area in areas]
    assert len(areas) > 20
    assert min(widths) >= 4  # units of 1000 across: three columns


def test_a_band_is_bright_along_both_edges_and_dim_between() -> None:
    trace, _ = view(CHROMINANCE)
    # A saturated bar, 25 to 45 µs after 0H, in the middle of the screen's height.
    bar = (trace.t_s > 25e-6) & (trace.t_s < 30e-6)
    share = trace.density[bar].mean(axis=0)
    lit = np.flatnonzero(share > 0)
    edge = len(lit) // 10
    outer = share[lit[:edge]].sum() + share[lit[-edge:]].sum()
    middle = share[lit[4 * edge] : lit[6 * edge]].sum()
    assert outer > 2.5 * middle
    assert share[lit[:edge]].sum() == pytest.approx(share[lit[-edge:]].sum(), rel=0.1)


def test_the_burst_is_upright() -> None:
    """Its upper and its lower edge begin and end at the same places, at half amplitude."""
    trace, _ = view(CHROMINANCE)
    middle_v = (trace.high_v.max() + trace.low_v.min()) / 2
    around = (trace.t_s > 4e-6) & (trace.t_s < 9e-6)
    upper = np.flatnonzero(trace.high_v[around] - middle_v > 0.075)
    lower = np.flatnonzero(middle_v - trace.low_v[around] > 0.075)
    assert (upper[0], upper[-1]) == (lower[0], lower[-1])
    assert len(upper) == pytest.approx(2.26 / 0.4, abs=1.1)  # ten cycles of 4.43 MHz


def test_a_signal_without_a_carrier_keeps_its_lines() -> None:
    trace, settings = view({"kind": "sine", "frequency": "15.625 kHz", "vpp": "1 Vpp"})
    svg = draw_beam(trace, settings)
    assert 'class="scope-line"' in svg
    assert not list_areas(svg, "scope-grade")


def test_a_captured_trace_is_an_area_where_it_was_captured() -> None:
    trace, settings = view(CHROMINANCE)
    low, high = trace.low_v.copy(), trace.high_v.copy()
    low[100:200] = high[100:200] = np.nan
    low[300:] = high[300:] = np.nan
    areas = list_areas(draw_captured((low, high), trace, settings), "scope-captured")
    ends = [(min(x for x, _ in area), max(x for x, _ in area)) for area in areas]
    assert ends == [(1, 199), (401, 599)]
