"""The trace as numbers, and the picture drawn from it."""

from __future__ import annotations

from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as effort
from hypothesis import strategies as st
from pinfolio.plugins.drawing.scope_picture import describe_scope, draw_scope
from pinfolio.plugins.drawing.scope_settings import ScopeSettings, choose_scope_settings
from pinfolio.plugins.drawing.scope_trace import Trace, compute_trace
from pinfolio.schema import Expectation

SVG = "{http://www.w3.org/2000/svg}"
PAL_LINE = {"system": "PAL-B/G", "bars": "75 %"}
COMPOSITE = {"kind": "composite video", **PAL_LINE, "vpp": "1 Vpp"}
CHROMINANCE = {"kind": "chrominance", **PAL_LINE, "burst": "300 mVpp"}
SHOWN: dict[str, dict[str, Any]] = {
    "composite video": {"dc": "3.4 V", "waveform": COMPOSITE},
    "chrominance": {"dc": "2.8 V", "waveform": CHROMINANCE},
    "composite sync": {
        "dc": "3 V",
        "waveform": {"kind": "composite sync", "system": "PAL-B/G", "vpp": "4 Vpp"},
    },
    "sandcastle": {
        "waveform": {
            "kind": "sandcastle",
            "system": "PAL-B/G",
            "burst_key": "8 V",
            "line_blanking": "4.5 V",
        }
    },
    "sawtooth": {
        "dc": "3.6 V",
        "waveform": {"kind": "sawtooth", "frequency": "50 Hz", "vpp": "3 Vpp", "retrace": "5 %"},
    },
    "bus": {
        "waveform": {
            "kind": "bus activity",
            "low": "0.2 V",
            "high": "5 V",
            "clock": "100 kHz",
            "line": "data",
        }
    },
    "narrow field pulse": {
        "waveform": {
            "kind": "field pulse",
            "system": "PAL-B/G",
            "low": "1.2 V",
            "high": "3.9 V",
            "width": "160 µs",
        }
    },
    "subcarrier": {
        "dc": "2.6 V",
        "waveform": {"kind": "sine", "frequency": "4.43361875 MHz", "vpp": "500 mVpp"},
    },
    "level": {"dc": "-5 V"},
}


def make_expectation(**shows: Any) -> Expectation:
    fields = {"condition": "colour bars", "source": {"id": "sheet"}, **shows}
    return Expectation.model_validate(fields)


def view_trace(expectation: Expectation, columns: int = 500) -> tuple[Trace, ScopeSettings]:
    settings = choose_scope_settings(expectation)
    assert settings is not None
    return compute_trace(expectation, settings, columns), settings


@pytest.fixture(params=SHOWN.values(), ids=SHOWN.keys())
def expectation(request: pytest.FixtureRequest) -> Expectation:
    return make_expectation(**request.param)


def test_the_trace_goes_as_far_as_the_waveform(expectation: Expectation) -> None:
    found, settings = view_trace(expectation)
    if expectation.waveform is None:
        low_v = high_v = -5.0
    else:
        low_v, high_v, _ = (v + expectation.offset_v for v in expectation.waveform.extremes_v)
    near = 0.02 * settings.volts_per_div
    assert found.low_v.min() + found.removed_v == pytest.approx(low_v, abs=near)
    assert found.high_v.max() + found.removed_v == pytest.approx(high_v, abs=near)


def test_the_beam_is_unbroken_and_on_the_screen(expectation: Expectation) -> None:
    found, settings = view_trace(expectation)
    assert (found.low_v <= found.high_v).all()
    assert (found.low_v[1:] <= found.high_v[:-1] + 1e-12).all()
    assert (found.low_v[:-1] <= found.high_v[1:] + 1e-12).all()
    half_v = 4 * settings.volts_per_div * (1 + 1e-9)
    assert found.centre_v - half_v <= found.low_v.min()
    assert found.high_v.max() <= found.centre_v + half_v


def test_the_beam_spends_all_its_time_between_low_and_high(expectation: Expectation) -> None:
    found, settings = view_trace(expectation)
    assert found.density.shape == (500, 8 * 20)
    assert found.density.sum(axis=1) == pytest.approx(1)
    step_v = settings.volts_per_div / 20
    bottom_v = found.centre_v - 4 * settings.volts_per_div + step_v * np.arange(8 * 20)
    lit = found.density > 0
    assert (np.where(lit, bottom_v, np.inf).min(axis=1) >= found.low_v - 1.01 * step_v).all()
    assert (np.where(lit, bottom_v, -np.inf).max(axis=1) <= found.high_v + 0.01 * step_v).all()


def test_the_screen_is_ten_divisions_with_one_before_the_trigger() -> None:
    found, settings = view_trace(make_expectation(**SHOWN["sandcastle"]), columns=400)
    assert len(found.t_s) == 400
    column_s = settings.time_per_div_s / 40
    assert np.diff(found.t_s) == pytest.approx(column_s)
    assert found.t_s[0] == pytest.approx(-settings.time_per_div_s + column_s / 2)


@pytest.mark.parametrize(
    ("waveform", "burst_v"),
    [
        (COMPOSITE, 0.3),  # 300 mV of burst with 1 V from sync to white: ITU-R BT.470-6
        (CHROMINANCE, 0.3),  # as stated
    ],
)
def test_burst_stands_as_high_as_published(waveform: dict[str, str], burst_v: float) -> None:
    """On a line-rate sweep the burst, 5.6 to 7.85 µs after 0H, is a band of its amplitude."""
    found, _ = view_trace(make_expectation(dc="3 V", waveform=waveform))
    burst = (found.t_s > 6.2e-6) & (found.t_s < 7.4e-6)
    assert burst.sum() >= 2
    assert (found.high_v - found.low_v)[burst] == pytest.approx(burst_v, rel=0.02)


def test_a_sine_lingers_at_its_peaks() -> None:
    """The share of time below depth x of a sine of amplitude 1 is acos(1 - x) / pi.

    A subcarrier on a slow sweep fills each column with many cycles (textbook arcsine law).
    """
    carrier = make_expectation(**SHOWN["subcarrier"])
    slow = ScopeSettings(0.1, 20e-6, "AC", "any", "x10")
    share = compute_trace(carrier, slow).density.mean(axis=0)
    peak_bin = round((4 + 2.5) * 20)  # 250 mV is two and a half divisions up
    tenth = share[peak_bin - 5 : peak_bin].sum()  # the uppermost tenth of the amplitude
    assert tenth == pytest.approx(np.arccos(0.9) / np.pi, rel=0.03)


def test_ac_coupling_takes_the_mean_away() -> None:
    found, settings = view_trace(make_expectation(**SHOWN["composite video"]))
    assert settings.coupling == "AC"
    assert found.removed_v == pytest.approx(3.4)
    assert "3.4 V to ground" in describe_scope(found, settings)


def test_zero_is_on_a_line_of_the_graticule(expectation: Expectation) -> None:
    found, settings = view_trace(expectation)
    lines = found.centre_v / settings.volts_per_div
    assert lines == pytest.approx(round(lines))
    assert abs(lines) <= 4


def test_the_picture_in_words() -> None:
    found, settings = view_trace(make_expectation(**SHOWN["sandcastle"]))
    assert describe_scope(found, settings) == (
        "2 V and 20 µs per division, DC coupled, x10 probe; trigger: the signal itself, rising "
        "edge, level above line blanking. Zero volts is 2 divisions below the middle line. "
        "The trace goes from 0 V to 8 V."
    )


def draw_picture(expectation: Expectation, title: str = "pin 13", **options: bool) -> str:
    found, settings = view_trace(expectation)
    return draw_scope(found, settings, title, **options)


def test_the_picture_is_small_and_needs_no_style(expectation: Expectation) -> None:
    svg = draw_picture(expectation)
    assert len(svg.encode()) < 60_000
    root = ElementTree.fromstring(svg)
    assert root.tag == f"{SVG}svg"
    assert root.get("role") == "img"
    assert (root.findtext(f"{SVG}title"), bool(root.findtext(f"{SVG}desc"))) == ("pin 13", True)
    assert not [e.tag for e in root.iter() if "style" in e.attrib or e.tag.endswith("}style")]


def test_the_zero_marker_is_at_zero_volts() -> None:
    """Four volts at the middle line and 2 V per division: two divisions of 100 units below."""
    marker = ElementTree.fromstring(draw_picture(make_expectation(**SHOWN["sandcastle"]))).find(
        f".//{SVG}g[@class='scope-zero']"
    )
    assert marker is not None
    assert marker.findtext(f"{SVG}text") == "0 V"
    assert "L0 600L" in marker[0].attrib["d"]


def test_the_graticule_has_ten_by_eight_divisions() -> None:
    root = ElementTree.fromstring(draw_picture(make_expectation(dc="5 V")))
    screen = root.find(f".//{SVG}rect[@class='scope-screen']")
    assert screen is not None
    assert int(screen.attrib["width"]) / int(screen.attrib["height"]) == 10 / 8
    graticule = root.find(f".//{SVG}g[@class='scope-graticule']")
    assert graticule is not None
    assert graticule[0].attrib["d"].count("M") == 11 + 9


def test_a_hostile_title_stays_text() -> None:
    title = 'pin 1 </title><script>alert("x")</script>\x1b[2J\ufffe'
    root = ElementTree.fromstring(draw_picture(make_expectation(dc="5 V"), title))
    assert not root.findall(f".//{SVG}script")
    assert (root.findtext(f"{SVG}title") or "").startswith("pin 1 </title><script>")


def test_a_file_of_its_own() -> None:
    svg = draw_picture(make_expectation(dc="5 V"), standalone=True)
    assert svg.startswith('<?xml version="1.0" encoding="UTF-8"?>')
    root = ElementTree.fromstring(svg.encode())
    assert root.attrib["viewBox"] == f"0 0 {root.attrib['width']} {root.attrib['height']}"


@effort(max_examples=30)
@given(st.floats(-40, 40), st.floats(0.36, 100), st.floats(0.02, 0.98))
def test_any_pulse_is_on_the_screen(low_v: float, vpp_v: float, duty: float) -> None:
    pulse = {
        "kind": "pulse",
        "frequency": "1 kHz",
        "low": f"{low_v:.4f} V",
        "high": f"{low_v + vpp_v:.4f} V",
        "duty": f"{duty * 100:.3f} %",
    }
    found, settings = view_trace(make_expectation(waveform=pulse))
    half_v = 4 * settings.volts_per_div * (1 + 1e-6)
    assert found.centre_v - half_v <= found.low_v.min()
    assert found.high_v.max() <= found.centre_v + half_v
