"""The demonstration served on this machine, and Chromium to look at it.

Without a Chromium these tests are skipped; with PINFOLIO_REQUIRE_BROWSER=1 its absence fails.
"""

from __future__ import annotations

import os
import shutil
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from pinfolio.data_demo import chip_files, note_files
from pinfolio.loaders.folio.build import build_folio
from pinfolio.plugins.web.serving.newest_folio import NewestFolio
from pinfolio.plugins.web.serving.server import format_address, listen, serve
from playwright.sync_api import Browser, Page, sync_playwright

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)
_OFFLINE = ["--no-sandbox", "--disable-background-networking", "--disable-component-update"]


# Of the module, since Playwright keeps an event loop running that other tests' loops cannot bear.
@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    if CHROMIUM is None:
        if os.environ.get("PINFOLIO_REQUIRE_BROWSER") == "1":
            pytest.fail("no Chromium found, and PINFOLIO_REQUIRE_BROWSER=1 asks for one")
        pytest.skip("no Chromium found")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=_OFFLINE)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def address(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Where the demonstration is served, for as long as the tests run."""
    path = tmp_path_factory.mktemp("folio") / "demo.db"
    build_folio([*chip_files(), *note_files()], path)
    bound, ready = listen("127.0.0.1", 0), threading.Event()
    where = format_address(bound)
    threading.Thread(target=serve, args=(NewestFolio(path), bound, ready.set), daemon=True).start()
    assert ready.wait(30)
    return where


Opener = Callable[..., Page]
BrokenRules = Callable[[Page], list[str]]

# WCAG 2.2 level A and AA, as axe-core tags its rules.
_WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
_RULES = {"runOnly": {"type": "tag", "values": _WCAG}, "resultTypes": ["violations"]}
# Between the light and the dark only colours differ.
_RULES_OF_COLOUR = {
    "runOnly": {"type": "rule", "values": ["color-contrast", "link-in-text-block"]},
    "resultTypes": ["violations"],
}


@pytest.fixture
def opened(chromium: Browser, address: str) -> Iterator[Opener]:
    """Open a page at a width; requests to anywhere else and script errors fail the test."""
    wrong: list[str] = []
    contexts = []

    def visit(where: str = "", width: int = 1280, **options: object) -> Page:
        context = chromium.new_context(viewport={"width": width, "height": 900}, **options)  # type: ignore[arg-type]
        contexts.append(context)
        page = context.new_page()
        page.on("request", lambda r: None if r.url.startswith(address) else wrong.append(r.url))
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.on("console", lambda m: wrong.append(m.text) if "Policy" in m.text else None)
        page.goto(address + where)
        return page

    yield visit
    for context in contexts:
        context.close()
    assert wrong == []


@pytest.fixture(scope="session")
def broken_rules() -> BrokenRules:
    """The findings of axe-core, the accessibility engine, on a page against WCAG 2.2 AA.

    All rules in the light, those of colour again in the dark; the page is left dark.
    """

    def find(page: Page) -> list[str]:
        findings = []
        for scheme, rules in (("light", _RULES), ("dark", _RULES_OF_COLOUR)):
            page.emulate_media(color_scheme=scheme)
            report: Any = Axe().run(page, options=rules)
            for violation in report.response["violations"]:
                first_place = violation["nodes"][0]["html"][:200]
                findings.append(f"{scheme}: {violation['id']}: {first_place}")
        return findings

    return find


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.browser)
