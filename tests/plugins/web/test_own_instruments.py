"""My instruments: chosen once, kept in a cookie, used by every page; and by none to do harm."""

from __future__ import annotations

from datasette.app import Datasette

COOKIE = {"pinfolio-instruments": "probe=x1+probe&counter=counter"}


async def test_the_choice_is_kept_and_leads_back(site: Datasette) -> None:
    answer = await site.client.get(
        "/instruments?keep=yes&meter=pointer+meter&probe=x1+probe&scope=nonsense&back=/chip/TQZ5752/13"
    )
    assert answer.status_code == 302
    assert answer.headers["location"] == "/chip/TQZ5752/13"
    kept = answer.headers["set-cookie"]
    assert "meter=pointer+meter&probe=x1+probe" in kept
    assert "nonsense" not in kept
    assert "HttpOnly" in kept


async def test_a_page_uses_them_without_being_asked(site: Datasette) -> None:
    plain = (await site.client.get("/chip/TQZ5752/46")).text
    assert "With digital meter, x10 probe, analogue 20 MHz." in plain
    own = (await site.client.get("/chip/TQZ5752/46", cookies=COOKIE)).text
    assert "With digital meter, x1 probe, analogue 20 MHz, counter." in own
    assert "1.1 kHz low" in own  # what the x1 probe does to the crystal


async def test_names_in_the_address_go_before_those_kept(site: Datasette) -> None:
    address = "/chip/TQZ5752/46/check.json?vpp=0.4+V&probe=x10+probe"
    document = (await site.client.get(address, cookies=COOKIE)).json()
    assert document["instruments"]["probe"] == "x10 probe"
    kept = (await site.client.get(address.partition("&")[0], cookies=COOKIE)).json()
    assert kept["instruments"]["probe"] == "x1 probe"


async def test_the_form_shows_what_is_kept(site: Datasette) -> None:
    html = (await site.client.get("/instruments", cookies=COOKIE)).text
    assert '<option value="x1 probe" selected>' in html
    assert '<option value="counter" selected>' in html


async def test_a_cookie_of_another_kind_is_passed_over(site: Datasette) -> None:
    for value in ("probe=laser", "%%%", "&" * 50, "x" * 5000):
        answer = await site.client.get("/chip/TQZ5752/46", cookies={"pinfolio-instruments": value})
        assert answer.status_code == 200
        assert "x10 probe" in answer.text


async def test_a_component_tester_adds_the_figures_with_the_set_off(site: Datasette) -> None:
    plain = (await site.client.get("/chip/MDQ3724/11")).text
    assert "Set off, with" not in plain
    cookie = {"pinfolio-instruments": "tester=component+tester"}
    own = (await site.client.get("/chip/MDQ3724/11", cookies=cookie)).text
    assert "Set off, with component tester: two corners, at −600 mV and +4.7 V" in own
    remarks = own.partition("Set off, with component tester")[2]
    assert remarks.index("Only with the set off, the plug out") < remarks.index("tester-picture")
    document = (await site.client.get("/chip/MDQ3724/11.json", cookies=cookie)).json()
    assert document["tester"]["pin"]["words"] in own
    assert "On your own oscilloscope" not in own


async def test_a_component_tester_is_chosen_like_the_others(site: Datasette) -> None:
    answer = await site.client.get("/instruments?keep=yes&tester=low-voltage+tester&back=/")
    assert "tester=low-voltage+tester" in answer.headers["set-cookie"]
    form = (await site.client.get("/instruments")).text
    assert "none: figures with the set off are not shown" in form
    unknown = await site.client.get("/chip/MDQ3724/11?tester=curve")
    assert unknown.status_code == 404
