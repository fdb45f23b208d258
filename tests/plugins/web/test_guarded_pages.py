"""Under plain Datasette, a folio's pages are guarded, and those of other databases left alone."""

from __future__ import annotations

import sqlite3
from collections.abc import AsyncIterator
from pathlib import Path

import httpx
import pytest
from datasette.app import Datasette
from pinfolio.plugins.web.headers import EVERYWHERE
from pinfolio.plugins.web.serving.this_machine import names_this_machine

OURS = ["/", "/chip/TQZ5752", "/find.json?q=5752", "/demo", "/demo/pin.json", "/demo.csv?sql=no"]


@pytest.fixture
async def visitor(demo_path: Path, tmp_path: Path) -> AsyncIterator[httpx.AsyncClient]:
    with sqlite3.connect(tmp_path / "other.db") as other:
        other.execute("CREATE TABLE t (n)")
    other.close()
    site = Datasette([], immutables=[str(demo_path), str(tmp_path / "other.db")])
    await site.invoke_startup()
    transport = httpx.ASGITransport(app=site.app())
    async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client:
        yield client


@pytest.mark.parametrize("address", OURS)
async def test_ours_have_the_headers_and_only_our_names(
    visitor: httpx.AsyncClient, address: str
) -> None:
    answer = await visitor.get(address)
    assert "content-security-policy" in answer.headers
    for name, value in EVERYWHERE:
        assert answer.headers[name.decode()] == value.decode()
    rebound = await visitor.get(address, headers={"host": "evil.example"})
    assert rebound.status_code == 421


@pytest.mark.parametrize("address", ["/other", "/other/t.json", "/other/none", "/other.json?sql=x"])
async def test_others_are_left_alone(visitor: httpx.AsyncClient, address: str) -> None:
    answer = await visitor.get(address, headers={"host": "evil.example"})
    assert answer.status_code != 421
    assert not {"content-security-policy", "permissions-policy"} & answer.headers.keys()


@pytest.mark.parametrize(
    ("address", "is_ours"),
    [("/demo", True), ("/demo/none", True), ("/none", True), ("/other", False),
     ("/other/t", False), ("/other/none", False), ("/other?sql=no", False)],
)  # fmt: skip
async def test_only_pages_of_the_folio_wear_our_frame(
    visitor: httpx.AsyncClient, address: str, is_ours: bool
) -> None:
    body = (await visitor.get(address)).text
    assert ("pinfolio.css" in body) == is_ours
    assert ("/-/static/app.css" in body) == (not is_ours)
    assert ("codemirror" in body) == (address == "/other")


@pytest.mark.parametrize(
    ("host", "is_ours"),
    [
        ("localhost", True),
        ("LOCALHOST.:8150", True),
        ("127.0.0.1", True),
        ("127.9.9.9:1", True),
        ("[::1]:8150", True),
        ("::1", True),
        ("evil.example", False),
        ("127.0.0.1.evil.example", False),
        ("localhost.evil.example:80", False),
        ("192.168.1.2", False),
        ("", False),
        ("[", False),
    ],
)
def test_names_of_this_machine(host: str, is_ours: bool) -> None:
    assert names_this_machine(host) == is_ours
