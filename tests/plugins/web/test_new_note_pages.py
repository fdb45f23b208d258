"""Note it, on a page that never writes."""

from __future__ import annotations

from html import unescape

from datasette.app import Datasette

FAULT = "chip=TQZ5752&at=pin+46&seen=missing&symptom=No+colour&part=X702&cure=New+crystal"


async def test_the_form_comes_filled_from_the_address(site: Datasette) -> None:
    html = (await site.client.get("/note?chip=TQZ5752&at=pin+13&dc=1.9&vpp=0.3+V")).text
    assert 'name="at" value="pin 13"' in html
    assert 'name="dc" value="1.9"' in html
    assert 'value="known-good reading" checked' in html


async def test_with_enough_told_it_shows_command_and_file(site: Datasette) -> None:
    html = unescape((await site.client.get(f"/note?{FAULT}&make=yes")).text)
    assert "pinfolio note add TQZ5752 'pin 46'" in html
    assert "--kind 'fault and remedy'" in html
    assert "readings:\n  seen: [missing]" in html
    assert "pinfolio note take TQZ5752-46.note.yaml" in html


async def test_lines_of_a_text_are_kept_as_a_browser_sends_them(site: Datasette) -> None:
    html = (await site.client.get(f"/note?{FAULT}&text=first%0D%0Asecond&make=yes")).text
    assert "text: |-\n  first\n  second" in html


async def test_figures_after_the_repair_and_the_proof_are_in_the_note(site: Datasette) -> None:
    more = "proof=measured+open&after_vpp=480&after_vpp_unit=mV&after_dc="
    html = unescape((await site.client.get(f"/note?{FAULT}&{more}&make=yes")).text)
    assert "--proof 'measured open'" in html
    assert "--after 'vpp=480 mV'" in html
    assert "readings_after: {vpp: 480 mVpp}" in html


async def test_what_is_wrong_is_said_and_no_file_is_made(site: Datasette) -> None:
    html = unescape((await site.client.get("/note?chip=TQZ5752&at=99&make=yes")).text)
    assert "no pin '99'" in html
    answer = await site.client.get("/note.yaml?chip=TQZ5752&at=99")
    assert answer.status_code == 400
    assert "no pin '99'" in answer.text


async def test_a_chip_that_is_not_in_the_folio_can_be_noted(site: Datasette) -> None:
    html = (await site.client.get("/note?kind=remark&chip=QZ1&at=3&text=Warm&make=yes")).text
    assert "pinfolio note add QZ1" in html


async def test_text_of_an_address_stays_text(site: Datasette) -> None:
    html = (await site.client.get("/note?kind=remark&chip=<script>&at=3&text=<script>x")).text
    assert "<script>x" not in html


async def test_a_file_goes_with_the_command(site: Datasette) -> None:
    """Its name is from a visitor's machine: quoted for the shell, escaped on the page."""
    query = "chip=TQZ5752&at=pin+13&condition=colour+bars&dc=3.4+V&attach=bars+of+%3Cb%3E.csv"
    answer = await site.client.get(f"/note?{query}")
    assert "--attach &#39;bars of &lt;b&gt;.csv&#39;" in answer.text
    assert "Only the command attaches bars of &lt;b&gt;.csv" in answer.text


async def test_a_missing_field_is_called_as_the_form_calls_it(site: Datasette) -> None:
    page = (await site.client.get("/note?chip=KYE4728&at=pin+4&part=C406&symptom=no+colour")).text
    assert "Still needed: what cured it." in page
