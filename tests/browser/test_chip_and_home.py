"""Home, chip, bench sheet, beginning a chip, and the tables: in Chromium, on paper, by keyboard."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import pdfplumber
import pytest
from playwright.sync_api import Page, expect

Opener = Callable[..., Page]
BrokenRules = Callable[[Page], list[str]]

PAGES = [
    "",
    "fault-finding",
    "fault-finding?symptom=no+red",
    "chip/TQZ5752?words=sync",
    "chip/KYE6848",
    "chip/TQZ3609",
    "chip/TQZ5752/bench-sheet",
    "begin?part=QX5710&family=SDIP&pins=42&kind=jungle",
    "demo",
    "demo/chip?_sort=kind",
    "demo/chip/TQZ5752",
    "demo?sql=select+part+from+chip",
]
# Text spacing that a page must bear: WCAG 2.2, 1.4.12.
SPACED = (
    "* { line-height: 1.5 !important; letter-spacing: .12em !important;"
    " word-spacing: .16em !important }"
)
CHIP = "chip/TQZ5752"
BENCH = "chip/KYE4728/fault-finding"
READ = "at=4&freq=1.05+MHz&seen=jumping"


@pytest.mark.parametrize("width", [1280, 360])
@pytest.mark.parametrize("where", PAGES)
def test_axe_finds_nothing(
    opened: Opener, broken_rules: BrokenRules, where: str, width: int
) -> None:
    assert broken_rules(opened(where, width)) == []


@pytest.mark.parametrize("where", [*PAGES[:8], CHIP, BENCH, f"{BENCH}?symptom=no+colour"])
def test_spaced_text_on_the_smallest_phone_needs_no_sideways_scroll(
    opened: Opener, where: str
) -> None:
    """WCAG 2.2, 1.4.10: 320 px. Policy allows no style from a test, so it is put in by CSSOM."""
    page = opened(where, 320)
    page.evaluate(
        "css => { const s = new CSSStyleSheet(); s.replaceSync(css);"
        " document.adoptedStyleSheets = [s] }",
        SPACED,
    )
    assert page.evaluate("document.documentElement.scrollWidth") <= 320


def test_the_table_of_52_pins_is_in_the_first_screen(opened: Opener) -> None:
    page = opened(CHIP)
    top = page.locator("table.pins").bounding_box()
    assert top is not None
    assert top["y"] < 300
    assert page.evaluate("document.documentElement.scrollHeight") <= 5000


def test_words_leave_the_pins_that_fit(opened: Opener) -> None:
    page = opened(CHIP)
    page.get_by_label("Pins with these words").fill("xtal")
    expect(page.get_by_role("status")).to_have_text("1 of 52 pins")
    expect(page.locator("#pin46")).to_be_visible()
    expect(page.locator("#pin45")).to_be_hidden()
    page.get_by_label("Pins with these words").press("Enter")
    page.wait_for_url("**/chip/TQZ5752/46")


def test_without_script_the_server_leaves_the_same_pins(opened: Opener) -> None:
    page = opened(CHIP, java_script_enabled=False)
    page.get_by_label("Pins with these words").fill("xtal")
    page.get_by_role("button", name="Show").click()
    expect(page.locator("#pin46")).to_be_visible()
    expect(page.locator("#pin45")).to_be_hidden()


def test_the_solder_side_and_the_state_of_the_set_need_no_script(opened: Opener) -> None:
    page = opened(CHIP, java_script_enabled=False)
    first, last = page.locator('.map [data-pin="1"]'), page.locator('.map [data-pin="52"]')
    at = [one.bounding_box() for one in (first, last)]
    page.get_by_label("Solder side").check()
    turned = [one.bounding_box() for one in (first, last)]
    assert [box is None for box in (*at, *turned)] == [False] * 4
    assert at[0]["x"] < at[1]["x"]  # type: ignore[index]
    assert turned[0]["x"] > turned[1]["x"]  # type: ignore[index]
    page.get_by_label("no signal").check()
    expect(page.locator("#pin13 .dc:visible")).to_have_count(1)
    expect(page.get_by_role("columnheader", name="no signal: DC, limits")).to_be_visible()


def test_four_sides_change_places_on_the_solder_side(opened: Opener) -> None:
    page = opened("chip/KYE6848", 360, java_script_enabled=False)
    places: list[dict[int, Any]] = []
    for side in ("From the top", "Solder side"):
        page.get_by_label(side).check()
        places.append(
            {n: page.locator(f'.map [data-pin="{n}"]').bounding_box() for n in (1, 13, 24, 36, 48)}
        )
    top, solder = places
    assert top[1]["x"] < top[36]["x"]
    assert solder[1]["x"] > solder[36]["x"]
    assert top[13]["x"] < top[24]["x"]
    assert solder[13]["x"] > solder[24]["x"]
    assert all(at[48]["y"] < at[1]["y"] < at[13]["y"] for at in places)
    assert all(min(box["width"], box["height"]) >= 24 for at in places for box in at.values())


def test_a_pin_of_the_package_lights_its_line(opened: Opener) -> None:
    page = opened(CHIP)
    page.locator('.map [data-pin="13"]').hover()
    expect(page.locator("#pin13")).to_have_class("lit")


def test_from_the_picture_to_the_hunt_in_two_actions(opened: Opener) -> None:
    page = opened("", 360)
    page.get_by_role("link", name="Black and white").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("which chip is in it?")
    link = page.get_by_role("link", name="TQZ5752")
    assert link.get_attribute("href") == "/chip/TQZ5752/fault-finding?symptom=no%20colour"


def test_jobs_begun_in_this_browser_are_listed_and_no_strange_address(opened: Opener) -> None:
    page = opened("")
    expect(page.locator("#jobs")).to_be_hidden()
    page.evaluate(
        """localStorage.setItem("pinfolio-jobs", JSON.stringify([
          {address: "/chip/TQZ5752/fault-finding?symptom=no+colour", part: "TQZ5752",
           symptom: "no colour", when: "2026-11-26T19:02:00Z"},
          {address: "//elsewhere.example/", part: "QX1", symptom: "", when: ""},
          {address: "javascript:alert(1)", part: "QX2", symptom: "", when: ""}]))"""
    )
    page.reload()
    expect(page.locator("#jobs a")).to_have_count(1)
    expect(page.locator("#jobs a")).to_contain_text("TQZ5752, no colour")


@pytest.mark.parametrize(
    ("where", "pages"),
    [
        ("chip/TQZ5752/bench-sheet", 2),
        ("chip/TQZ5752/bench-sheet?side=solder", 2),
        ("chip/KYE4728/bench-sheet", 2),
        ("chip/KYE6848/bench-sheet", 2),
        ("chip/TQZ3609/bench-sheet", 1),
    ],
)
def test_the_bench_sheet_prints_on_as_many_pages_as_it_says(
    opened: Opener, where: str, pages: int
) -> None:
    page = opened(where)
    with pdfplumber.open(io.BytesIO(page.pdf(prefer_css_page_size=True))) as printed:
        assert len(printed.pages) == pages
        words = printed.pages[0].extract_text()
        last = printed.pages[-1].extract_text()
        for sheet in printed.pages:  # the foot is on the paper: no row is cut off
            foot = [word for word in sheet.extract_words() if word["text"] == "pinfolio"]
            assert foot
            assert foot[-1]["bottom"] < sheet.height
    assert "Live chassis" in words
    assert "Read: DC" in words.replace("\n", " ")
    assert "Bench sheet" in last


@pytest.mark.parametrize(
    ("where", "pages"),
    [
        ("chip/TQZ5752/13", 1),
        ("chip/KYE4728/4", 1),
        ("chip/TQZ5752/22?dc=1.9&vpp=0.3", 1),
        ("chip/KYE6848/4?dc=1.9&vpp=0.3", 1),
        (f"{BENCH}?symptom=no+colour", 2),
        (f"{BENCH}?symptom=no+colour&{READ}", 2),
        (f"{BENCH}?symptom=no+colour&{READ}&part=C406&found=open", 2),
    ],
)
def test_pin_and_bench_print_on_few_pages_with_their_cautions(
    opened: Opener, where: str, pages: int
) -> None:
    page = opened(where)
    with pdfplumber.open(io.BytesIO(page.pdf(format="A4"))) as printed:
        assert len(printed.pages) <= pages
        words = " ".join(one.extract_text() for one in printed.pages)
    assert "isolation transformer" in words
    assert "Enter the reading" not in words
    if "symptom" in where:
        assert "All others together" in words
        assert "To be read" in words or "Read again" in words


@pytest.mark.parametrize("where", ["chip/TQZ5752/13", "chip/TQZ5752/22", "chip/KYE4728/4"])
def test_verdict_limits_and_ways_on_are_on_the_first_screen(opened: Opener, where: str) -> None:
    page = opened(f"{where}?dc=1.9&vpp=0.3")
    lowest = page.evaluate(
        "Math.max(...[...document.querySelectorAll('#told, #verdict .do, .three .rng')]"
        ".map(shown => shown.getBoundingClientRect().bottom))"
    )
    assert page.get_by_role("link", name="Find the fault from here").is_visible()
    assert lowest <= 900


def test_the_chosen_look_stays(opened: Opener) -> None:
    page = opened(CHIP)
    page.get_by_label("Look", exact=True).select_option("dim")
    page.get_by_role("button", name="Set").click()
    expect(page.locator("html")).to_have_attribute("data-look", "dim")
    assert page.url.endswith("/chip/TQZ5752")
    expect(page.locator("body")).to_have_css("background-color", "rgb(18, 23, 26)")


def test_a_chip_is_begun_and_saved_by_keyboard_alone(opened: Opener) -> None:
    page = opened("begin?part=QX5710&family=DIP&pins=8&kind=jungle")
    page.get_by_label("Symbol of pin 1").focus()
    for text in ("VCC", "8.1", "", "GND", "0"):
        page.keyboard.type(text)
        page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    save = page.get_by_role("link", name="Save qx5710.yaml")
    with page.expect_download() as download:
        save.press("Enter")
    assert download.value.suggested_filename == "qx5710.yaml"
