"""Datasette's own pages: in our frame, every control named, their data unchanged."""

from __future__ import annotations

import re

from datasette.app import Datasette
from pinfolio.plugins.web.table_labels import label_controls


def test_a_control_gets_the_name_of_its_field_and_no_second_one() -> None:
    assert label_controls('<select name="_filter_op_2">') == (
        '<select aria-label="How to compare" name="_filter_op_2">'
    )
    named = '<input aria-label="Mine" name="_filter_value">'
    assert label_controls(named) == named
    hidden = '<input type="hidden" name="sql" value="select 1">'
    assert label_controls(hidden) == hidden


def test_headings_go_down_one_level_at_a_time() -> None:
    assert label_controls("<h3>7 rows</h3>") == "<h2>7 rows</h2>"


async def test_tables_have_our_frame_and_named_controls(site: Datasette) -> None:
    html = (await site.client.get("/demo/pin?number=7")).text
    assert '<html lang="en">' in html
    assert 'href="/-/static-plugins/pinfolio/tables.css"' in html
    assert 'aria-label="Column to filter by"' in html
    assert not re.search(r"<select(?![^>]*(aria-label|id=))", html)


async def test_their_data_links_work(site: Datasette) -> None:
    assert (await site.client.get("/demo/pin.json?number=7")).json()["rows"]
    csv = await site.client.get("/demo/pin.csv?number=7")
    assert csv.status_code == 200
    assert csv.text.startswith("id,chip")


async def test_the_chosen_look_holds_there_too(site: Datasette) -> None:
    html = (await site.client.get("/demo/chip", cookies={"pinfolio-look": "dim"})).text
    assert '<html lang="en" data-look="dim">' in html


async def test_without_a_folio_datasette_keeps_its_own_frame() -> None:
    html = (await Datasette([], memory=True).client.get("/_memory")).text
    assert "tables.css" not in html
