"""The look chosen at the foot of a page: a cookie of this browser, and back to the page."""

from __future__ import annotations

import pytest
from datasette.app import Datasette


async def test_the_chosen_look_is_kept_and_the_page_comes_back(site: Datasette) -> None:
    answer = await site.client.get("/look?look=dim&back=/chip/TQZ5752%3Fcondition%3Doff")
    assert answer.status_code == 302
    assert answer.headers["location"] == "/chip/TQZ5752?condition=off"
    assert answer.headers["set-cookie"].startswith("pinfolio-look=dim; HttpOnly; Max-Age=31536000")
    page = await site.client.get("/", cookies={"pinfolio-look": "dim"})
    assert '<html lang="en" data-look="dim">' in page.text


async def test_without_a_choice_the_page_looks_as_the_device_does(site: Datasette) -> None:
    assert '<html lang="en">' in (await site.client.get("/")).text
    answer = await site.client.get("/look?look=&back=/")
    assert "Max-Age=0" in answer.headers["set-cookie"]


@pytest.mark.parametrize(
    "back",
    ["//elsewhere.example/", "/\\elsewhere.example", "https://elsewhere.example/", "%0d%0aX:1"],
)
async def test_the_way_back_leads_to_no_other_site(site: Datasette, back: str) -> None:
    answer = await site.client.get(f"/look?look=light&back={back}")
    assert answer.headers["location"] == "/"


@pytest.mark.parametrize("cookie", ["pinfolio-look=loud", "pinfolio-look=<script>"])
async def test_a_strange_cookie_changes_nothing(site: Datasette, cookie: str) -> None:
    answer = await site.client.get("/", headers={"cookie": cookie})
    assert answer.status_code == 200
    assert '<html lang="en">' in answer.text
