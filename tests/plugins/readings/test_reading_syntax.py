"""One way to say a reading, in a terminal, a file, a prompt and an address."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.plugins.readings.reading_syntax import (
    PartReading,
    PointReading,
    complete_answer,
    read_line,
)
from pinfolio.plugins.readings.written_figures import read_figure
from pinfolio.schema import print_value
from pinfolio.schema.reading import BadReading


@pytest.mark.parametrize(
    ("text", "unit", "value", "half_digit"),
    [
        ("470", "V", 470.0, 0.5),
        ("0.47", "V", 0.47, 0.005),
        ("0,47 V", "V", 0.47, 0.005),
        ("470m", "V", 0.47, 0.0005),
        ("4k7", "Ω", 4700.0, 50.0),
        ("4V7", "V", 4.7, 0.05),
        ("3.10 kHz", "Hz", 3100.0, 5.0),
        ("1 V", "Vpp", 1.0, 0.5),
        ("12 kohm", "Ω", 12e3, 500.0),
        ("330 µV", "V", 330e-6, 0.5e-6),
        ("330 uV", "V", 330e-6, 0.5e-6),
    ],
)
def test_figures_in_the_unit_asked_for(
    text: str, unit: str, value: float, half_digit: float
) -> None:
    figure = read_figure(text, unit)
    assert figure.value == pytest.approx(value)
    assert figure.half_digit == pytest.approx(half_digit)


@pytest.mark.parametrize("text", ["0.9..1.2 MHz", "0.9 - 1.2 MHz", "0.9 MHz to 1.2 MHz"])
def test_a_range_is_its_middle_and_its_width(text: str) -> None:
    figure = read_figure(text, "Hz")
    assert figure.is_range
    assert figure.value == pytest.approx(1.05e6)
    assert figure.half_digit == pytest.approx(0.15e6)


def test_a_comma_that_may_part_thousands_is_not_guessed_at() -> None:
    with pytest.raises(BadReading, match=r"write 1\.234 or 1234"):
        read_figure("1,234 V", "V")


@given(st.floats(1e-3, 1e5), st.sampled_from(["V", "Hz", "Ω"]))
def test_what_is_printed_is_read_back(value: float, unit: str) -> None:
    printed = print_value(value, unit, 6)
    assert read_figure(printed, unit).value == pytest.approx(value, rel=1e-5)


@pytest.mark.parametrize(
    ("line", "place", "figures", "seen"),
    [
        ("17 dc=3.1V", "17", {"dc": 3.1}, ()),
        ("17 vpp=0.3Vpp seen=distorted", "17", {"vpp": 0.3}, ("distorted",)),
        ("17 freq=15.1kHz seen=unstable", "17", {"frequency": 15100.0}, ("unstable",)),
        ("17 freq=1 MHz jumping", "17", {"frequency": 1e6}, ("unstable",)),
        ("17 seen=missing", "17", {}, ("missing",)),
        ("17 none", "17", {}, ("missing",)),
        ("17 ohms=12k", "17", {"resistance": 12e3}, ()),
        ("17: 3.1 V, 0.4 Vpp, jumping", "17", {"dc": 3.1, "vpp": 0.4}, ("unstable",)),
        ("24 V rail: 24.6 V", "24 V rail", {"dc": 24.6}, ()),
        ("pin 9 dc=-12.5V", "pin 9", {"dc": -12.5}, ()),
        ("46 3,2", "46", {"dc": 3.2}, ()),
        ("46 470m", "46", {"dc": 0.47}, ()),
        ("46 4k7", "46", {"resistance": 4700.0}, ()),
        ("VCC1: 8.1, 20 mVpp", "VCC1", {"dc": 8.1, "vpp": 0.02}, ()),
        ("17 470 hum", "17", {"dc": 470.0}, ("hum",)),
        ("crystal-node vpp=310m seen=wandering, hum", "crystal-node", {"vpp": 0.31},
         ("unstable", "hum")),
    ],
)  # fmt: skip
def test_readings_of_a_point(
    line: str, place: str, figures: dict[str, float], seen: tuple[str, ...]
) -> None:
    read = read_line(line)
    assert isinstance(read, PointReading)
    assert read.place == place
    assert {q: f.value for q, f in read.figures} == pytest.approx(figures)
    assert read.seen == seen


def test_words_for_one_quantity_and_for_all() -> None:
    assert read_line("17 dc=ok") == PointReading("17", words=(("dc", "as expected"),))
    assert read_line("17 freq=none") == PointReading("17", words=(("frequency", "missing"),))
    assert read_line("17 vpp=too low") == PointReading("17", words=(("vpp", "too low"),))
    skipped = read_line("17 cannot reach it")
    assert isinstance(skipped, PointReading)
    assert skipped.skipped == ("everything",)


def test_a_resistance_between_any_two_points() -> None:
    read = read_line("17 to crystal-node ohms=4k7")
    assert isinstance(read, PointReading)
    assert (read.place, read.other) == ("17", "crystal-node")


@pytest.mark.parametrize(
    ("line", "ref", "found"),
    [
        ("C418 leaky", "C418", "leaky"),
        ("C731: open", "C731", "open"),
        ("X702: good", "X702", "good"),
        ("X702: ok", "X702", "good"),
        ("C418: dried out", "C418", "value too low"),
        ("R402 measures 5200Ω", "R402", "5200Ω"),
        ("R402: 5k2", "R402", "5k2"),
        ("R402: 470", "R402", "470"),
        ("L301 measures 23.4uH", "L301", "23.4uH"),
        ("C5 measures 3.855pF", "C5", "3.855pF"),
    ],
)
def test_what_was_found_of_a_part(line: str, ref: str, found: str) -> None:
    assert read_line(line) == PartReading(ref, found)


def test_a_joint_soldered_again_says_so() -> None:
    assert read_line("pin 9 soldered again, no change") == PartReading("pin 9", "joint good")


@pytest.mark.parametrize(
    ("place", "field", "answer", "line"),
    [
        ("17", "dc", "none", "17 dc=none"),
        ("17", "vpp", "470m", "17 vpp=470m"),
        ("17", "freq", "0.9..1.2 MHz jumping", "17 freq=0.9..1.2 MHz jumping"),
        ("crystal-node", "dc", "skip", "crystal-node dc=skip"),
        ("C731", "found", "open", "C731: open"),
        ("C731", "found", "skip", "C731: skip"),
        ("17", "dc", "26 vpp=1.2", "26 vpp=1.2"),
        ("17", "dc", "26 none", "26 none"),
        ("17", "dc", "C406: leaky", "C406: leaky"),
        ("17", "dc", "C406 leaky", "C406 leaky"),
    ],
)
def test_answers_to_what_was_asked(place: str, field: str, answer: str, line: str) -> None:
    assert complete_answer(place, field, answer) == line


def test_an_answer_that_is_none_is_refused_for_the_place_asked() -> None:
    with pytest.raises(BadReading, match="dc 'flooby': expected a voltage"):
        complete_answer("17", "dc", "flooby")


@pytest.mark.parametrize("line", ["17", "17 flooby", "dc=3V", "17 dc=nought", "17 seen=green"])
def test_what_is_not_understood_lists_the_words(line: str) -> None:
    with pytest.raises(BadReading, match=r"expected.*(unstable|such as)"):
        read_line(line)


@given(st.text(max_size=40))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        read = read_line(text)
    except BadReading:
        return
    assert read.text == " ".join(text.split())


NAMES = ("RED OUT", "RED OUT 2", "V FB", "24 V rail")


@pytest.mark.parametrize(
    ("line", "place", "figures"),
    [
        ("RED OUT 3.4", "RED OUT", {"dc": 3.4}),
        ("red out 3.4 V, 0.4 Vpp", "red out", {"dc": 3.4, "vpp": 0.4}),
        ("pin RED  OUT 470m", "RED OUT", {"dc": 0.47}),
        ("RED OUT 2 3.1", "RED OUT 2", {"dc": 3.1}),
        ("RED OUT 2", "RED OUT", {"dc": 2.0}),
        ("24 V rail 23.8 V", "24 V rail", {"dc": 23.8}),
        ("17 3.4", "17", {"dc": 3.4}),
    ],
)
def test_a_symbol_with_a_space_needs_no_colon(
    line: str, place: str, figures: dict[str, float]
) -> None:
    reading = read_line(line, NAMES)
    assert isinstance(reading, PointReading)
    assert reading.place == place
    assert {quantity: figure.value for quantity, figure in reading.figures} == figures


@pytest.mark.parametrize("word", ["none", "jumping", "skip"])
def test_a_word_may_follow_a_symbol_with_a_space(word: str) -> None:
    told = read_line(f"V FB {word}", NAMES)
    assert isinstance(told, PointReading)
    assert told.place == "V FB"
    assert complete_answer("4", "freq", f"V FB {word}", NAMES) == f"V FB {word}"


def test_without_the_chip_a_symbol_with_a_space_needs_its_colon() -> None:
    with pytest.raises(BadReading, match="expected a place and figures"):
        read_line("RED OUT 3.4")


def test_two_symbols_that_both_make_sense_are_asked_about() -> None:
    with pytest.raises(BadReading) as refused:
        read_line("Y IN 3 jumping", ("Y IN", "Y IN 3"))
    assert str(refused.value) == (
        "'Y IN 3 jumping' may be a reading at Y IN 3 or at Y IN: expected a colon behind the place,"
        " such as 'Y IN 3: jumping'"
    )
    assert read_line("Y IN 3: jumping", ("Y IN", "Y IN 3")) == PointReading(
        "Y IN 3", seen=("unstable",)
    )
