"""The state of each pin and stage: from the readings, else from the suspects."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest
from datasette.app import Datasette
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.answers.hunt import find_fault
from pinfolio.plugins.diagnosis.answers.states import (
    BAD,
    PROVED_GOOD,
    SUSPECT,
    UNKNOWN,
    States,
    judge_states,
)
from pinfolio.plugins.drawing.package_drawing import draw_package
from pinfolio.plugins.readings.reading_syntax import read_line
from pinfolio.schema.instruments.ordinary import BUILT_IN

DIGITISING = BUILT_IN.choose(scope="digitising 50 MHz")


def find_states(stem: str, symptom: str, *readings: str) -> States:
    chip = load_chip(next(path for path in chip_files() if path.stem == stem))
    return judge_states(find_fault(chip, [symptom], [read_line(r) for r in readings], DIGITISING))


def test_a_pin_is_what_it_read() -> None:
    found = find_states("mdq3724", "no green", "2 vpp=0.01Vpp", "4 vpp=0.7Vpp")
    assert (found.pins[2], found.pins[4], found.pins[24]) == (BAD, PROVED_GOOD, UNKNOWN)


def test_of_two_readings_of_a_pin_the_bad_one_counts() -> None:
    for both in (("2 dc=3.6V", "2 vpp=0.01Vpp"), ("2 vpp=0.01Vpp", "2 dc=3.6V")):
        assert find_states("mdq3724", "no green", *both).pins[2] == BAD


def test_a_reading_that_cannot_be_told_says_nothing() -> None:
    found = find_states("mdq3724", "no green", "1 dc=3.05V")
    assert found.pins[1] not in (PROVED_GOOD, BAD)


def test_a_stage_is_what_it_puts_out() -> None:
    found = find_states("mdq3724", "no green", "17 vpp=0.01Vpp", "15 dc=2.9V")
    assert (found.blocks["green-output"], found.blocks["blue-output"]) == (BAD, UNKNOWN)
    assert found.blocks["red-output"] == found.pins[15]


def test_one_bad_output_makes_a_stage_bad() -> None:
    found = find_states("tqz5752", "no green", "32 vpp=2.4Vpp", "33 vpp=0.01Vpp")
    assert (found.pins[32], found.pins[33]) == (PROVED_GOOD, BAD)
    assert found.blocks["rgb-output"] == BAD


def test_the_stage_with_the_suspect_part_on_its_pin_is_suspect() -> None:
    """The likeliest is C302, between the socket and the clamps that pin 2 leads to."""
    found = find_states("mdq3724", "no green", "2 vpp=0.01Vpp", "socket-a-green vpp=0.7Vpp")
    assert found.blocks["green-clamps"] == SUSPECT
    assert found.blocks["red-clamps"] == UNKNOWN


def test_a_suspect_timing_capacitor_makes_its_pin_and_stage_suspect() -> None:
    found = find_states("kye2620", "picture tears", "C501: leaky")
    assert (found.pins[2], found.blocks["line-oscillator"]) == (SUSPECT, SUSPECT)


def test_every_state_has_a_word_and_all_but_the_unknown_a_sign_of_its_own() -> None:
    every = (PROVED_GOOD, BAD, SUSPECT, UNKNOWN)
    assert len({state.word for state in every}) == 4
    assert len({state.sign for state in every}) == 4
    assert [state.sign for state in every if not state.sign] == [UNKNOWN.sign]


@pytest.mark.parametrize("path", chip_files(), ids=lambda path: path.stem)
def test_every_pin_and_stage_has_a_state(path: object) -> None:
    chip = load_chip(path)  # type: ignore[arg-type]
    found = judge_states(find_fault(chip, [], [], DIGITISING))
    assert set(found.pins) == {pin.number for pin in chip.pins}
    assert set(found.blocks) == {block.id for block in chip.blocks}
    assert PROVED_GOOD not in (*found.pins.values(), *found.blocks.values())


def test_the_package_shows_and_names_the_states() -> None:
    chip = load_chip(next(path for path in chip_files() if path.stem == "mdq3724"))
    marks = {2: BAD.mark, 4: PROVED_GOOD.mark, 6: UNKNOWN.mark}
    root = ElementTree.fromstring(draw_package(chip, "solder", None, lambda _: "/x", marks))
    names = {e.get("aria-label") for e in root.iter()}
    assert {"pin 2 G A, input: bad", "pin 4 R A, input: proved good"} <= names
    assert {"pin 6 B A, input: unknown", "pin 8 R B, input"} <= names
    words = {e.text for e in root.iter() if e.tag.endswith("}text")}
    assert {"✗ G A", "✓ R A", "B A"} <= words
    assert "✗ bad   ✓ proved good" in words


async def test_the_page_shows_them_on_package_and_diagram(site: Datasette) -> None:
    address = "/chip/MDQ3724/fault-finding?symptom=no+green&readings=2+vpp%3D0.01Vpp&whole=1"
    html = (await site.client.get(address)).text
    assert html.count('aria-label="pin 2 G A, input: bad"') == 3  # both sides, and the diagram
    assert "All pins and stages as judged so far" in html
    assert html.count('class="block-diagram') == 1
