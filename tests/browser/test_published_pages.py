"""Published pages in Chromium, from a plain file server below a path, and from the disk alone."""

from __future__ import annotations

import functools
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from pinfolio.data_demo import chip_files, note_files
from pinfolio.loaders.folio.build import build_folio
from pinfolio.loaders.publishing.published_folder import Pages, publish
from pinfolio.plugins.web.publishing.static_pages import hash_page_sources, write_pages
from playwright.sync_api import Browser, Page, expect

BrokenRules = Callable[[Page], list[str]]


class _Quiet(SimpleHTTPRequestHandler):
    def log_message(self, *_: object) -> None:
        pass


@pytest.fixture(scope="module")
def public(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two chips with all notes, published in ``shop/folio`` of a folder."""
    root = tmp_path_factory.mktemp("root")
    chips = [file for file in chip_files() if file.stem in ("tqz5752", "mdq3724")]
    build_folio([*chips, *note_files()], root / "folio.db")
    folder = root / "shop" / "folio"
    with ThreadPoolExecutor(1) as aside:  # here Playwright's event loop may be running
        aside.submit(
            publish, root / "folio.db", folder, Pages(write_pages, hash_page_sources())
        ).result()
    return folder


@pytest.fixture(scope="module")
def address(public: Path) -> Iterator[str]:
    handler = functools.partial(_Quiet, directory=str(public.parents[1]))
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_address[1]}/shop/folio/"
    server.shutdown()


@pytest.fixture
def page(chromium: Browser, request: pytest.FixtureRequest) -> Iterator[Page]:
    """A page of the width asked for; a failed load or an exception fails the test."""
    width = getattr(request, "param", 1280)
    context = chromium.new_context(viewport={"width": width, "height": 900})
    page, wrong = context.new_page(), []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("requestfailed", lambda asked: wrong.append(asked.url))
    page.on("response", lambda got: wrong.append(got.url) if got.status >= 400 else None)
    yield page
    context.close()
    assert [one for one in wrong if "favicon" not in one] == []


def walk(page: Page, start: str) -> Iterator[str]:
    """From the front page to a pin, its other condition and the notes; a name for each stop."""
    page.goto(start)
    page.wait_for_url("**/pages-*/index.html")
    yield "list"
    page.get_by_role("searchbox").fill("t?z57 jungle")
    expect(page.get_by_role("status")).to_have_text("1 of 2")
    expect(page.get_by_role("link", name="MDQ3724")).to_be_hidden()
    page.get_by_role("searchbox").fill("3724-2")
    expect(page.get_by_role("link", name="MDQ3724")).to_be_visible()
    expect(page.get_by_role("link", name="TQZ5752")).to_be_hidden()
    page.get_by_role("searchbox").fill("t?z57 jungle")
    page.get_by_role("link", name="TQZ5752", exact=True).click()
    yield "sheet"
    page.get_by_role("link", name="13 SYNC IN", exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Pin 13 SYNC IN")
    yield "card"
    page.get_by_role("link", name="All parts").click()
    page.get_by_role("link", name="notes of shops").click()
    yield "notes"


@pytest.mark.parametrize("page", [1280, 360], indirect=True)
def test_the_way_to_a_pin_is_open_to_everybody(
    page: Page, address: str, broken_rules: BrokenRules
) -> None:
    """Nothing runs off the screen, and axe-core finds nothing against WCAG 2.2 AA in pages not
    tried as served: the list with its box, and the card without its form."""
    for stop in walk(page, address):
        page.wait_for_load_state()
        if stop in ("list", "card"):
            assert (stop, broken_rules(page)) == (stop, [])
        wide = page.evaluate("document.documentElement.scrollWidth > window.innerWidth")
        assert (stop, wide) == (stop, False)


def test_the_pages_open_from_the_disk_alone(page: Page, public: Path) -> None:
    assert list(walk(page, (public / "index.html").as_uri())) == ["list", "sheet", "card", "notes"]
