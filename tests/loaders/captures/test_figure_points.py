"""Points typed or clicked off a drawn waveform, in the ways that people write them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.loaders.captures.figure_points import FigureError, FigurePoints, read_figure_points

PIXELS = "pixels\nx 100 = 0 µs\nx 740 = 64 µs\ny 400 = 0 V\ny 80 = 5 V\n"


def read(text: str) -> FigurePoints:
    return read_figure_points(text.encode(), "figure.txt")


@pytest.mark.parametrize(
    "text",
    [
        "µs V\n0 0.2\n12 0.2\n12 5\n64 5\n",
        "us, V\n0, 0.2\n12, 0.2\n12, 5\n64, 5",
        "us,V\n0,0.2\n12,0.2\n12,5\n64,5",
        "t (µs); U (V)\r\n0;0,2\r\n12;0,2\r\n12;5,0\r\n64;5,0\r\n",
        "time/ms\tlevel/mV\n0\t200\n0.012\t200\n0.012\t5e3\n0.064\t5000",
        "# off page 7\n\nµs V   # axes\n0 0.2\n12 0.2  # edge\n12 5\n64 5",
        "\ufeffµs V\n-12 0.2\n0 0.2\n0 5\n52 5",  # drawn from before the trigger
        "μs V\n−12 0.2\n0 0.2\n0 5\n52 5",  # Greek mu, minus sign
    ],
)
def test_the_same_points_however_they_are_written(text: str) -> None:
    points = read(text)
    np.testing.assert_allclose(points.t_s, [0, 12e-6, 12e-6, 64e-6], atol=1e-15)
    np.testing.assert_allclose(points.v, [0.2, 0.2, 5, 5])


def test_pixels_are_scaled_by_two_marks_on_each_axis() -> None:
    points = read(PIXELS + "100 400\n260 400\n260 80\n740 240")
    np.testing.assert_allclose(points.t_s, [0, 16e-6, 16e-6, 64e-6], atol=1e-15)
    np.testing.assert_allclose(points.v, [0, 0, 5, 2.5], atol=1e-12)


def test_marks_may_stand_anywhere_below_the_word_pixels() -> None:
    lines = PIXELS.splitlines()
    turned = "\n".join([lines[0], "100 400", *lines[:0:-1], "740 80"])
    np.testing.assert_allclose(read(turned).v, [0, 5], atol=1e-12)


def test_a_hand_that_goes_back_a_little_draws_an_upright_edge() -> None:
    points = read(PIXELS + "100 400\n261 400\n260 80\n740 80")
    assert points.t_s[1] == points.t_s[2]


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("", 1, "no points"),
        ("# nothing but words\n", 1, "no points"),
        ("0 1\n1 2\n", 1, "units of the axes"),
        ("0 µs 0 V\n32 µs 5 V\n", 1, "units of the axes"),
        ("V\n0 1\n1 2", 1, "write 'µs V'"),
        ("V µs\n0 1\n1 2", 1, "time first"),
        ("µs/div V/div\n0 1\n1 2", 1, "units of the axes"),
        ("µs V\n0 1", 1, "1 point: expected from 2 to 10,000 points"),
        ("µs V\n0 1\n1 x\n2 3", 3, "'1 x'"),
        ("µs V\n0 1\n1\n2 1", 3, "two numbers"),
        ("µs V\n0 1\n1 2 3\n2 1", 3, "two numbers"),
        ("µs V\n0;1\n1 2\n2;1", 3, "divided as in the first line"),
        ("µs V\n0 1\n5 1\n2 1\n9 1", 4, "order of time"),
        ("µs V\n5 1\n5 2", 3, "all points at one time"),
        ("µs V\n0 1\n1e-300 2", 3, "1e-306 s in all"),
        ("µs V\n0 1\n1 1e300", 3, "no more than 1e+06 V"),
        ("µs V\n0 1e999\n1 2", 2, "two numbers"),
        ("pixels\n100 400\n200 300", 1, "two marks on the x axis"),
        ("pixels\nx 100 = 0\n", 2, "write 'x 100 = 0 s'"),
        (PIXELS.replace("x 740 = 64", "x 100 = 64") + "100 400\n200 300", 1, "different marks"),
        (PIXELS.replace("64 µs", "64 V") + "100 400\n200 300", 3, "a time in s"),
    ],
)
def test_one_clear_fault_with_its_line(text: str, line: int, said: str) -> None:
    with pytest.raises(FigureError) as caught:
        read(text)
    (fault,) = caught.value.faults
    assert fault.line == line
    assert said in str(fault)


def test_a_file_too_big_to_be_a_figure_is_not_read() -> None:
    with pytest.raises(FigureError, match="1,000,001 bytes"):
        read_figure_points(b"0" * 1_000_001, "figure.txt")


@given(st.binary(max_size=200))
def test_whatever_the_bytes_there_are_points_or_one_fault(data: bytes) -> None:
    found: FigurePoints | FigureError
    try:
        found = read_figure_points(data, "figure.txt")
    except FigureError as refused:
        found = refused
    if isinstance(found, FigureError):
        assert len(found.faults) == 1
    else:
        assert len(found.t_s) == len(found.v) >= 2


numbers = st.floats(-1e3, 1e3).map(lambda value: round(value, 3))


@given(st.lists(st.tuples(st.integers(1, 50), numbers), min_size=2, max_size=30))
def test_written_points_are_read_back(steps: list[tuple[int, float]]) -> None:
    times = np.cumsum([step for step, _ in steps])
    levels = [level for _, level in steps]
    text = "ms mV\n" + "\n".join(f"{t} {v}" for t, v in zip(times, levels, strict=True))
    points = read(text)
    np.testing.assert_allclose(points.t_s, (times - times[0]) * 1e-3, atol=1e-12)
    np.testing.assert_allclose(points.v, np.array(levels) * 1e-3, atol=1e-12)
