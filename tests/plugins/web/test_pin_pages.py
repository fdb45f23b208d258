"""The card of a pin: figures first, the verdict with its limits, and two ways on."""

from __future__ import annotations

import re
from html import unescape

import pytest
from datasette.app import Datasette


async def get_page(site: Datasette, address: str) -> str:
    answer = await site.client.get(address)
    assert answer.status_code == 200
    return unescape(answer.text)


async def test_the_figure_that_should_be_there_is_the_largest_thing(site: Datasette) -> None:
    html = await get_page(site, "/chip/TQZ5752/13")
    assert re.findall(r'class="big">([^<]+)<', html) == ["3.4 V", "1 Vpp"]
    assert "3.06 to 3.74 V" in html
    assert ">200 mV/div</dd>" in html


async def test_only_what_the_state_of_the_set_shows_is_asked_for(site: Datasette) -> None:
    fields = r'<input id="(\w+)" name="\1" value="[^"]*" inputmode'
    html = await get_page(site, "/chip/TQZ5752/13")
    assert re.findall(fields, html) == ["dc", "vpp", "freq"]
    html = await get_page(site, "/chip/TQZ5752/13?condition=off")
    assert re.findall(fields, html) == ["ohms"]
    assert '<input type="hidden" name="condition" value="off">' in html


async def test_a_wrong_reading_leads_to_the_hunt_and_to_a_note(site: Datasette) -> None:
    html = await get_page(site, "/chip/TQZ5752/13?dc=1.9&dc_unit=V&vpp=300&vpp_unit=mV")
    assert "Too low" in html
    assert "1.9 V read" in html
    assert "300 mVpp read" in html
    assert "/chip/TQZ5752/fault-finding?at=13&dc=1.9+V&vpp=300+mV" in html
    assert "/note?chip=TQZ5752&at=pin+13&dc=1.9+V&vpp=300+mV" in html


@pytest.mark.parametrize(
    ("query", "word", "look"),
    [
        ("dc=3.4", "Right", "verdict right"),
        ("seen=missing", "Nothing there", "verdict"),
        ("seen=unstable", "Jumping", "verdict"),
        ("dc=3.07", "Cannot tell", "verdict unsure"),
    ],
)
async def test_a_verdict_has_its_word_and_its_look(
    site: Datasette, query: str, word: str, look: str
) -> None:
    html = await get_page(site, f"/chip/TQZ5752/13?{query}")
    assert f"</span> {word}</h2>" in html
    assert f'class="panel {look}"' in html


async def test_beside_cannot_tell_no_chance_is_named(site: Datasette) -> None:
    html = await get_page(site, "/chip/TQZ5752/46?freq=4.4336&freq_unit=MHz")
    assert "Cannot tell" in html
    assert "chance it is right" not in html


async def test_a_part_one_hop_away_is_on_the_card(site: Datasette) -> None:
    html = await get_page(site, "/chip/KYE4728/4")
    assert "<b>C406</b>22p" in html
    assert "X401 4.43361875 MHz to ground" in html


async def test_the_place_is_told_in_words_from_both_sides(site: Datasette) -> None:
    html = await get_page(site, "/chip/TQZ5752/46")
    assert "Right row, 7th from the notch end." in html
    assert "Left row, 7th from the notch end." in html
    assert "Beside 45 FSC OUT and 47 APC." in html


async def test_what_was_typed_and_is_not_understood_stays_to_be_mended(site: Datasette) -> None:
    html = await get_page(site, "/chip/TQZ5752/13?dc=lots")
    assert 'value="lots"' in html
    assert "dc 'lots': expected a voltage in V, such as 4.2 V" in html
