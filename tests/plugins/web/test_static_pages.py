"""Static pages: the pages that are served, as files that lead to each other without a server."""

from __future__ import annotations

import json
import re
import shlex
import socket
from collections.abc import Callable, Iterator
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit

import pytest
from click.testing import Result
from datasette.app import Datasette
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.data_demo import chip_files, note_files
from pinfolio.loaders import open_folio
from pinfolio.loaders.folio.build import build_folio, build_from_chips
from pinfolio.loaders.shop.shop_folder import Shop
from pinfolio.plugins.web.pages import parts_pages as parts_pages
from pinfolio.plugins.web.publishing.static_names import choose_file_name, convert_page
from pinfolio.plugins.web.publishing.static_pages import hash_page_sources, write_pages
from pinfolio.plugins.web.serving.server import open_datasette
from pinfolio.schema import Chip


class Read(HTMLParser):
    """Links, headings and forms of a page."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.leads: list[str] = []
        self.tags: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.leads += [value or "" for name, value in attrs if name in ("href", "src", "action")]


@pytest.fixture(scope="module")
def some(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two chips of the demonstration, and all of its notes."""
    path = tmp_path_factory.mktemp("some") / "some.db"
    chips = [file for file in chip_files() if file.stem in ("tqz5752", "mdq3724")]
    build_folio([*chips, *note_files()], path)
    return path


@pytest.fixture(scope="module")
def written(some: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("pages")
    write_pages(some, folder)
    return folder


def list_pages(folder: Path) -> Iterator[tuple[Path, str]]:
    for path in sorted(folder.rglob("*.html")):
        yield path, path.read_text(encoding="utf-8")


def test_every_link_leads_to_a_file_that_is_there(written: Path) -> None:
    count = 0
    for path, html in list_pages(written):
        for lead in Read(html).leads:
            split = urlsplit(lead)
            assert (split.scheme, split.netloc, split.query) == ("", "", ""), lead
            assert not split.path.startswith("/"), lead
            if split.path:
                assert (path.parent / unquote(split.path)).is_file(), (path, lead)
                count += 1
    assert count > 1000


def test_every_chip_pin_and_drawn_condition_has_its_page(written: Path, some: Path) -> None:
    with open_folio(some) as folio:
        chips = list(folio.chips())
    for chip in chips:
        folder = written / "chip" / chip.part
        assert (folder / "sheet.html").is_file()
        assert all((folder / f"{pin.number}.html").is_file() for pin in chip.pins)
    assert (written / "chip" / "TQZ5752" / "22-no~20signal.html").is_file()


async def test_a_page_says_what_the_served_one_says(written: Path, some: Path) -> None:
    site = open_datasette(some)
    site.pinfolio_published = True
    served = (await site.client.get("/chip/TQZ5752/13")).text
    as_written = (written / "chip" / "TQZ5752" / "13.html").read_text(encoding="utf-8")
    without_links = re.compile(r'\s(?:href|src)="[^"]*"')
    assert without_links.sub("", as_written) == without_links.sub("", served)


def test_nothing_on_a_page_needs_a_server(written: Path) -> None:
    for path, html in list_pages(written):
        read = Read(html)
        assert "form" not in read.tags, path
        assert read.tags.count("h1") == 1, path
        for words in ("Hunt a fault", "Compare pin by pin", "Your reading", "as tables"):
            assert words not in html, path
        assert not re.search(r"<script(?![^>]*src=)|\sstyle=|\son[a-z]+=", html)


def test_attachments_of_notes_are_files_with_their_digest_as_name(written: Path) -> None:
    import hashlib

    found = list((written / "attachments").iterdir())
    assert found
    for path in found:
        assert hashlib.sha256(path.read_bytes()).hexdigest() == path.stem


def test_the_same_folio_gives_the_same_pages(some: Path, written: Path, tmp_path: Path) -> None:
    write_pages(some, tmp_path)
    first = {path.relative_to(written): html for path, html in list_pages(written)}
    second = {path.relative_to(tmp_path): html for path, html in list_pages(tmp_path)}
    assert first == second


HOSTILE = "<script>alert(1)</script>\"'&\u202e"


def test_what_pages_are_drawn_with_is_known_by_its_digest(tmp_path: Path) -> None:
    template = tmp_path / "plugins" / "cards" / "templates" / "pin_card.html"
    template.parent.mkdir(parents=True)
    template.write_text("one")
    before = hash_page_sources(tmp_path)
    (tmp_path / "plugins" / "letter.txt").write_text("no part of a page")
    assert hash_page_sources(tmp_path) == before
    template.write_text("two")
    assert hash_page_sources(tmp_path) != before


def test_hostile_names_and_text_stay_within_the_folder(tmp_path: Path, jungle: Chip) -> None:
    fields = json.loads(jungle.model_dump_json())
    fields |= {"part": '../../A~B "1".html', "maker": HOSTILE, "summary": HOSTILE}
    fields["pins"][12] |= {"function": HOSTILE + ' href="/chip/x"', "symbol": HOSTILE}
    build_from_chips([Chip.model_validate(fields)], tmp_path / "hostile.db")
    folder = tmp_path / "a" / "b" / "pages"
    folder.mkdir(parents=True)
    write_pages(tmp_path / "hostile.db", folder)
    assert [path.name for path in (tmp_path / "a").iterdir()] == ["b"]
    (chip,) = (folder / "chip").iterdir()
    assert chip.name == "~2E~2E~2F~2E~2E~2FA~7EB~20~221~22~2Ehtml"
    for _, html in list_pages(folder):
        assert "<script>" not in html
        assert "\u202e" not in html


PARTS = st.text(min_size=1, max_size=80)


@given(PARTS, PARTS)
def test_different_parts_have_different_plain_names(one: str, other: str) -> None:
    def name(part: str) -> str:
        found = choose_file_name("/chip/x", lambda _: part)
        assert found is not None
        return found

    assert re.fullmatch(r"chip/[A-Za-z0-9_~-]{1,120}/sheet\.html", name(one))
    assert (name(one) == name(other)) == (one == other)


@given(st.text())
def test_any_address_is_a_file_or_none(address: str) -> None:
    try:
        urlsplit(address)
    except ValueError:
        return
    found = choose_file_name(address, lambda part: part)
    assert found is None or ".." not in found.split("/")


def test_links_are_made_relative_and_text_is_left_alone() -> None:
    html = '<a href="/chip/A%2FB?condition=x%20y#z">A</a><a href="/find?q=A">B</a> href="/notes"'
    made, led = convert_page(
        html, "chip/A/1.html", lambda at: choose_file_name(at, lambda part: part)
    )
    assert made == '<a href="../../chip/A~2FB/sheet-x~20y.html#z">A</a><a>B</a> href="/notes"'
    assert led == ["/chip/A%2FB?condition=x%20y"]


async def test_the_list_of_parts_is_served_page_by_page(
    site: Datasette, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(parts_pages, "PARTS_A_PAGE", 5)
    seen: list[str] = []
    for number in (1, 2, 3):
        html = (await site.client.get(f"/parts?page={number}")).text
        seen += re.findall(r'<th scope="row"><a href="/chip/([^"]+)"', html)
        assert re.findall(r'aria-current="page">from (\w+)<', html) == [seen[(number - 1) * 5]]
    assert len(seen) == 14
    assert seen == sorted(seen)
    for number in ("0", "4", "x", "-1", "٣", "9" * 30):
        assert (await site.client.get(f"/parts?page={number}")).status_code == 404


async def test_the_list_of_parts_says_what_else_is_printed_on_them(site: Datasette) -> None:
    html = (await site.client.get("/parts")).text
    assert "<small>also marked TQZ 5752 N3, TQZ5752N</small>" in html


Run = Callable[..., Result]


def test_publish_then_fetch_then_nothing_to_do(run: Run, demo_path: Path, tmp_path: Path) -> None:
    public, here = tmp_path / "public", tmp_path / "here.db"
    result = run("publish", demo_path, "-o", public, "--no-pages")
    assert result.exit_code == 0, result.output
    assert "14 chips" in result.output
    assert "already" in run("publish", demo_path, "-o", public, "--no-pages").output
    result = run("fetch-folio", public, "-o", here)
    assert result.exit_code == 0, result.output
    assert here.read_bytes() == demo_path.read_bytes()
    assert "already up to date" in run("fetch-folio", public, "-o", here).output


def test_a_fetched_folio_that_is_damaged_says_how_to_fetch_it_again(
    run: Run, demo_path: Path, tmp_path: Path
) -> None:
    public, here = tmp_path / "public of ours", tmp_path / "here.db"
    run("publish", demo_path, "-o", public, "--no-pages")
    run("fetch-folio", public, "-o", here)
    here.write_bytes(here.read_bytes()[:-1])
    result = run("chip", "TQZ5752", "--folio", here)
    assert result.exit_code == 2
    mending = result.output.strip().partition("fetch it again: pinfolio ")[2]
    assert shlex.split(mending) == ["fetch-folio", str(public), "-o", str(here)]
    assert run(*shlex.split(mending)).exit_code == 0
    assert run("chip", "TQZ5752", "--folio", here).exit_code == 0
    here.unlink()
    assert "no such file; fetch it: pinfolio " in run("chip", "5752", "--folio", here).output


def test_once_it_is_built_instead_it_is_built_again(
    run: Run, demo_path: Path, tmp_path: Path
) -> None:
    here = tmp_path / "here.db"
    run("publish", demo_path, "-o", tmp_path / "public", "--no-pages")
    run("fetch-folio", tmp_path / "public", "-o", here)
    build_folio(chip_files()[:1], here)
    here.write_bytes(here.read_bytes()[:-1])
    assert "build it again: pinfolio build" in run("chip", "5752", "--folio", here).output


def test_fetch_says_that_it_uses_the_network(run: Run) -> None:
    assert "uses the network" in run("fetch-folio", "--help").output


def test_what_is_not_there_is_one_clear_line(run: Run, tmp_path: Path) -> None:
    result = run("fetch-folio", tmp_path / "nowhere", "-o", tmp_path / "here.db")
    assert result.exit_code == 2
    assert "manifest.json: no such file in the folder" in result.output
    assert len(result.output.splitlines()) == 1
    result = run("publish", tmp_path / "none.db", "-o", tmp_path / "public")
    assert (result.exit_code, "no such file" in result.output) == (2, True)


def test_a_signed_folio_from_a_known_shop(
    run: Run, demo_path: Path, tmp_path: Path, shop: Shop, other: Shop
) -> None:
    public = tmp_path / "public"
    run("publish", demo_path, "-o", public, "--no-pages", "--sign", "--shop", other.folder)
    fetch = ("fetch-folio", public, "-o", tmp_path / "here.db", "--from-shop", "bench-b")
    result = run(*fetch)
    assert result.exit_code == 2
    assert "'bench-b' is not known here" in result.output
    shop.known_shops.write_text(f'[bench-b]\npublic_key = "{other.public_key.hex()}"\n')
    assert run(*fetch).exit_code == 0
    shop.known_shops.write_text(f'[bench-b]\npublic_key = "{shop.public_key.hex()}"\n')
    result = run(*fetch)
    assert result.exit_code == 2
    assert "signature is wrong" in result.output


def test_without_an_outfile_it_becomes_the_own_folio(
    run: Run, demo_path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    run("publish", demo_path, "-o", tmp_path / "public", "--no-pages")
    assert run("fetch-folio", tmp_path / "public").exit_code == 0
    assert (tmp_path / "data" / "pinfolio" / "folio.db").read_bytes() == demo_path.read_bytes()


def test_pool_readings_with_tables(run: Run, tmp_path: Path) -> None:
    result = run("pool-readings", "-o", tmp_path / "readings.parquet", "--tables")
    assert result.exit_code == 0, result.output
    names = sorted(path.name for path in tmp_path.iterdir())
    assert names == ["chip.parquet", "expectation.parquet", "pin.parquet", "readings.parquet"]


def test_publishing_and_pooling_open_no_connection(
    run: Run, demo_path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_: object) -> None:
        raise AssertionError("went on the network")

    for name in ("connect", "connect_ex", "bind"):
        monkeypatch.setattr(socket.socket, name, refused)
    monkeypatch.setattr(socket, "getaddrinfo", refused)
    for command in (
        ("publish", demo_path, "-o", tmp_path / "public", "--no-pages"),
        ("pool-readings", "-o", tmp_path / "r.parquet"),
        ("fetch-folio", tmp_path / "public", "-o", tmp_path / "here.db"),
    ):
        assert run(*command).exit_code == 0
