"""The real pages, wide and phone-wide, light and dark, by pointer and by keyboard."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.schema.chips.lookup import find_pin
from playwright.sync_api import Page, expect

Opener = Callable[..., Page]
BrokenRules = Callable[[Page], list[str]]

PAGES = [
    "",
    "find?q=sync",
    "find?q=TQZ58888",
    "find?q=KYE%3F%3F%3F%3F",
    "find?q=sync+separator&kind=jungle",
    "chip/TQZ5752",
    "chip/TQZ5752/13",
    "chip/TQZ5752/49",
    "chip/TQZ5752/22?condition=colour+bars",
    "chip/TQZ5752/13?dc=1.9&vpp=0.3",
    "chip/TQZ5752/13?condition=off",
    "chip/KYE4728/4",
    "chip/TQZ5752/6/capture",
    "chip/KYE4728/fault-finding?symptom=no+colour",
    "chip/KYE4728/fault-finding?symptom=no+colour&at=4&freq=1.05+MHz&seen=jumping&part=C406&found=open",
    "chip/KYE6848/3",
    "note?chip=TQZ5752&at=pin+46&seen=missing&symptom=No+colour&cure=New+crystal&make=yes",
    "instruments?back=/chip/TQZ5752/13",
    "parts",
    "notes",
    "notes?q=tears&chip=TQZ5752&at=pin+13&dc=1.8+V",
    "chip/NONE",
    "compare?a=TQZ5752&b=OGX7342",
    "chip/MDQ3724/fault-finding?symptom=no+green&readings=2+vpp%3D0.01Vpp",
]


@pytest.mark.parametrize("width", [1280, 360])
@pytest.mark.parametrize("where", PAGES)
def test_nothing_stands_in_anybodys_way(
    opened: Opener, broken_rules: BrokenRules, where: str, width: int
) -> None:
    """No page is wider than the screen, and axe-core finds nothing in the light and in the dark."""
    page = opened(where, width)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert broken_rules(page) == []


@pytest.mark.parametrize("width", [1280, 360])
def test_from_a_partial_marking_to_the_sync_pin(opened: Opener, width: int) -> None:
    page = opened("", width)
    page.get_by_role("searchbox").fill("5752")
    page.get_by_role("button", name="Find").click()
    page.get_by_role("link", name="TQZ5752", exact=True).click()
    page.get_by_role("link", name="13 SYNC IN", exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Pin 13 SYNC IN")
    shown = page.get_by_role("region", name="Should be")
    expect(shown).to_contain_text("3.4 V")
    expect(shown).to_contain_text("1 Vpp")
    expect(page.locator(".settings")).to_contain_text("200 mV/div")
    expect(page.locator(".settings")).to_contain_text("20 µs/div")


def test_the_keyboard_alone_is_enough(opened: Opener) -> None:
    page = opened("chip/TQZ5752/13")
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the content")).to_be_focused()
    for _ in range(5):  # name, three ways, box
        page.keyboard.press("Tab")
    page.keyboard.type("burst key")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_contain_text("burst key")


def test_a_pin_of_the_drawing_leads_to_its_card(opened: Opener) -> None:
    page = opened("chip/TQZ5752")
    page.locator('.map [data-pin="22"]').click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Pin 22 SC OUT")


def test_the_picture_has_a_name_and_says_what_it_shows(opened: Opener) -> None:
    page = opened("chip/TQZ5752/13")
    picture = page.locator("svg.scope-picture")
    expect(picture).to_have_attribute("aria-label", "TQZ5752 pin 13 SYNC IN, colour bars")
    assert "per division" in (picture.locator("desc").text_content() or "")


def test_on_paper_the_search_box_is_gone(opened: Opener) -> None:
    page = opened("chip/TQZ5752/13")
    page.emulate_media(media="print")
    expect(page.get_by_role("searchbox")).to_be_hidden()
    expect(page.locator("svg.scope-picture")).to_be_visible()


def test_slash_goes_to_the_box_and_answers_show_while_one_types(opened: Opener) -> None:
    page = opened("chip/TQZ5752")
    page.keyboard.press("/")
    expect(page.get_by_role("searchbox", name="Marking")).to_be_focused()
    page.keyboard.type("burst key")
    answer = page.locator(".found-so-far a").filter(has_text="OGX7342 pin 27")
    expect(answer).to_be_visible()
    answer.click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Pin 27 BURST KEY")


def test_an_unfinished_word_is_answered_in_groups(opened: Opener) -> None:
    page = opened("", 360)
    page.keyboard.press("/")
    page.keyboard.type("burst k")
    live = page.get_by_role("region", name="Found so far")
    expect(live.get_by_text("Stages", exact=True)).to_be_visible()
    expect(live.get_by_role("link", name="OGX7342 pin 27")).to_be_visible()
    page.keyboard.press("Escape")
    expect(live).to_be_hidden()
    expect(page.get_by_role("searchbox")).to_be_focused()


def test_what_settles_it_is_a_link_that_keeps_to_it(opened: Opener) -> None:
    page = opened("find?q=KYE%3F%3F%3F%3F")
    page.get_by_role("link", name="20 pins").click()
    expect(page.get_by_label("Number of pins")).to_have_value("20")
    expect(page.locator("table.list").get_by_role("row")).to_have_count(2)  # with the heading


def test_without_script_the_box_still_answers(opened: Opener) -> None:
    page = opened("", java_script_enabled=False)
    page.get_by_role("searchbox").fill("5752")
    page.get_by_role("button", name="Find").click()
    expect(page.get_by_role("link", name="TQZ5752", exact=True)).to_be_visible()


@pytest.mark.parametrize("width", [700, 360])
def test_the_arrows_of_a_chain_run_beside_the_names_of_its_parts(
    opened: Opener, width: int
) -> None:
    page = opened("chip/TQZ5752/13", width)
    lefts = page.evaluate(
        """[...document.querySelectorAll(".chain .w")].map((part) => {
            const words = document.createRange();
            words.selectNodeContents(part);
            const arrow = parseFloat(getComputedStyle(part, "::before").left);
            return [arrow, words.getBoundingClientRect().left - part.getBoundingClientRect().left];
        })"""
    )
    assert len(lefts) >= 3
    assert all(words > arrow + 12 for arrow, words in lefts), "an arrow's head is 12 px wide"


@pytest.mark.parametrize("width", [1280, 360])
def test_a_capture_is_laid_over_what_should_be_there(
    opened: Opener, broken_rules: BrokenRules, width: int
) -> None:
    """Screen, difference and vectors, readable in the light and in the dark, without script."""
    chip = next(c for path in chip_files() if (c := load_chip(path)).part == "TQZ5752")
    expectation = find_pin(chip, "6").expectation("colour bars")
    assert expectation is not None
    t_s = np.arange(0, 256e-6, 25e-9)
    rows = (f"{t:.9f},{v:.4f}" for t, v in zip(t_s, expectation.volts(t_s), strict=True))
    text = "\n".join(["time,volts", *rows])
    page = opened("chip/TQZ5752/6/capture", width)
    bars = {"name": "bars.csv", "mimeType": "text/csv", "buffer": text.encode()}
    page.get_by_label("File of the oscilloscope").set_input_files([bars])  # type: ignore[list-item]
    page.get_by_role("button", name="Lay it over").click()
    assert page.get_by_role("heading", name="Right", exact=True).is_visible()
    for drawing in (".scope-bare", ".scope-difference", ".vector-picture", ".spectrum-picture"):
        assert page.locator(drawing).bounding_box() is not None
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert broken_rules(page) == []
