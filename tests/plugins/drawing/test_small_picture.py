"""Two periods of a signal in a line of a table: true to the signal, and small."""

from __future__ import annotations

import re

import pytest
from pinfolio.plugins.drawing.small_picture import draw_small_picture
from pinfolio.schema import Chip, Expectation


def make_expectation(jungle: Chip, pin: int, condition: str = "colour bars") -> Expectation:
    return next(e for e in jungle.pins[pin - 1].expectations if e.condition == condition)


def list_points(svg: str) -> list[tuple[float, float]]:
    numbers = re.findall(r"[ML]([\d.]+) ([\d.]+)", svg)
    return [(float(x), float(y)) for x, y in numbers]


def test_a_sine_has_two_tops_and_fills_the_height(jungle: Chip) -> None:
    drawn = list_points(draw_small_picture(make_expectation(jungle, 46)))
    heights = [y for _, y in drawn]
    assert (min(heights), max(heights)) == (2, 24)
    upper = drawn[: len(drawn) // 2]
    tops = [
        x
        for (_, before), (x, y), (_, after) in zip(upper, upper[1:], upper[2:], strict=False)
        if y < before and y <= after and y < 4
    ]
    assert len(tops) == 2
    # Two tops of a sine are a period apart: half of the 82 units drawn.
    assert tops[1] - tops[0] == pytest.approx(41, abs=2)


def test_a_steady_voltage_is_a_level_line(jungle: Chip) -> None:
    assert 'class="flat"' in draw_small_picture(make_expectation(jungle, 7))
    assert draw_small_picture(None) == draw_small_picture(make_expectation(jungle, 7))


def test_a_carrier_in_bursts_is_shown_over_two_lines() -> None:
    """Two cycles of the carrier lie within the sync pulse, where there is none of it."""
    line = {
        "kind": "colour-under",
        "system": "PAL-B/G",
        "frequency": "626.953125 kHz",
        "bars": "75 %",
        "burst": "41 mVpp",
    }
    source = {"id": "sheet", "page": 1}
    under = Expectation.model_validate({"condition": "bars", "waveform": line, "source": source})
    heights = [y for _, y in list_points(draw_small_picture(under))]
    assert (min(heights), max(heights)) == (2, 24)


def test_fifty_two_pictures_are_small(jungle: Chip) -> None:
    drawn = [draw_small_picture(make_expectation(jungle, pin.number)) for pin in jungle.pins]
    assert sum(map(len, drawn)) < 20_000
