"""A chip that is not in the folio is begun from its 404 page, and leaves as a file."""

from __future__ import annotations

from html import unescape

from datasette.app import Datasette
from pinfolio.loaders.chip_files.chip_file import read_chip

FIELDS = "part=QX5710&family=DIP&pins=8&kind=jungle"
PINS = "&symbol=VCC&dc=8,1&does=&symbol=GND&dc=0&does=&symbol=IN&dc=0.47&does=video+input"


async def test_not_found_offers_to_begin_the_chip(site: Datasette) -> None:
    html = (await site.client.get("/chip/QX5710")).text
    assert 'action="/begin"' in html
    assert 'name="part" value="QX5710"' in html
    other = (await site.client.get("/nothing")).text
    assert 'name="part" value=""' in other


async def test_the_file_is_made_of_the_address_alone(site: Datasette) -> None:
    html = unescape((await site.client.get(f"/begin?{FIELDS}{PINS}")).text)
    assert "Save qx5710.yaml" in html
    assert "pinfolio build qx5710.yaml -o qx5710.db" in html
    answer = await site.client.get(f"/begin.yaml?{FIELDS}{PINS}")
    assert answer.headers["content-disposition"] == 'attachment; filename="qx5710.yaml"'
    chip = read_chip(answer.content, "qx5710.yaml")
    assert [pin.symbol for pin in chip.pins][:4] == ["VCC", "GND", "IN", "?4"]


async def test_before_a_pin_is_known_there_is_a_field_for_each(site: Datasette) -> None:
    answer = await site.client.get(f"/begin?{FIELDS}")
    assert answer.status_code == 200
    assert answer.text.count('name="symbol"') == 8
    assert (await site.client.get(f"/begin.yaml?{FIELDS}")).status_code == 400


async def test_a_wrong_figure_keeps_what_was_typed(site: Datasette) -> None:
    answer = await site.client.get(f"/begin?{FIELDS}&symbol=VCC&dc=much&does=")
    assert answer.status_code == 400
    assert "Pin 1: " in unescape(answer.text)
    assert 'value="much"' in answer.text


async def test_hostile_text_stays_text(site: Datasette) -> None:
    answer = await site.client.get(f"/begin?{FIELDS}&symbol=%3Cscript%3E&dc=1&does=%22x")
    assert "<script>" not in answer.text.replace("<script src", "")
