"""The bench: one thing to do now, suspects that add up, readings changed in place, no dead end."""

from __future__ import annotations

import re
from html import unescape
from urllib.parse import parse_qsl, urlencode

import pytest
from datasette.app import Datasette
from pinfolio.plugins.diagnosis.answers import hunt
from pinfolio.plugins.diagnosis.deciding.steps import Step

BENCH = "/chip/KYE4728/fault-finding"
JUMPING = f"{BENCH}?symptom=no+colour&at=4&freq=1.05+MHz&seen=jumping"
PROVED = f"{JUMPING}&part=C406&found=open"


async def get_page(site: Datasette, address: str) -> str:
    answer = await site.client.get(address)
    assert answer.status_code == 200
    return unescape(answer.text)


def list_percents(html: str) -> list[int]:
    return [int(n) for n in re.findall(r'class="pc num">([0-9]+) %', html)]


@pytest.mark.parametrize("address", [BENCH, f"{BENCH}?symptom=no+colour", JUMPING, PROVED])
async def test_the_suspects_add_up_to_a_hundred(site: Datasette, address: str) -> None:
    assert sum(list_percents(await get_page(site, address))) == 100


async def test_where_to_measure_is_said_with_what_should_be_there(site: Datasette) -> None:
    html = await get_page(site, f"{BENCH}?symptom=no+colour")
    assert "Measure next" in html
    assert "from the notch end" in html
    assert re.search(r'class="big">[0-9.]+ [mµ]?V', html)
    answers = re.findall(r"</svg><span>([^<]+)</span></button>", html)
    assert answers[:2] == ["Right", "Nothing there"]
    assert answers[-1] == "Cannot reach it"


async def test_the_whole_chip_is_drawn_where_it_is_asked_for(site: Datasette) -> None:
    html = await get_page(site, JUMPING)
    assert "package-drawing" not in html
    link = re.search(r'<a href="([^"]+whole=1)#whole">', html)
    assert link is not None
    whole = await get_page(site, link[1])
    assert whole.count("package-drawing") >= 2
    assert "block-diagram" in whole


async def test_the_form_repeats_what_was_read_before_it(site: Datasette) -> None:
    html = await get_page(site, JUMPING)
    form = html[html.index('class="panel now"') :]
    hidden = re.findall(
        r'type="hidden" name="([^"]+)" value="([^"]*)"', form[: form.index("</form>")]
    )
    assert hidden[:4] == [
        ("symptom", "no colour"),
        ("at", "4"),
        ("freq", "1.05 MHz"),
        ("seen", "jumping"),
    ]
    assert hidden[4][0] == "at"


async def test_a_figure_takes_the_unit_chosen_beside_it(site: Datasette) -> None:
    html = await get_page(site, f"{BENCH}?symptom=no+colour&at=6&dc=4300&dc_unit=mV")
    assert "<b>4300 mV</b>" in html
    assert "right</span>" in html


async def test_a_resistance_across_a_part_is_asked_for_with_the_set_off(
    site: Datasette, monkeypatch: pytest.MonkeyPatch
) -> None:
    across = Step("measure", "C762", "resistance", None, 3.5, 20.0)
    monkeypatch.setattr(hunt, "_choose_part_to_cross", lambda *_: across)
    html = await get_page(site, "/chip/TQZ5710/fault-finding")
    assert "pull the plug" in html
    assert "Ohmmeter across C762, from" in html
    assert re.search(r'name="at" value="C762"', html)
    monkeypatch.undo()
    answered = await get_page(site, "/chip/TQZ5710/fault-finding?at=C762&ohms=65&ohms_unit=kΩ")
    assert "too high" in answered


async def test_what_cannot_be_reached_is_not_asked_for_again(site: Datasette) -> None:
    def asked(html: str) -> tuple[str, str]:
        form = html[html.index('class="panel now"') :]
        place = re.search(r'name="at" value="([^"]+)">\s*<div class="entry">', form)
        field = re.search(r'id="value" name="(\w+)"', form)
        assert place is not None
        assert field is not None
        return place[1], field[1]

    first = asked(await get_page(site, f"{BENCH}?symptom=no+colour"))
    skipped = await get_page(site, f"{BENCH}?symptom=no+colour&at={first[0]}&{first[1]}=skip")
    assert asked(skipped) != first


async def test_another_measurement_may_be_chosen(site: Datasette) -> None:
    html = await get_page(site, f"{BENCH}?symptom=no+colour")
    link = re.search(r'href="([^"]+next=[^"]+)">([^<,]+),', html)
    assert link is not None
    chosen = await get_page(site, link[1])
    number, symbol = link[2].removeprefix("pin ").split(" ", 1)
    assert f'<b class="p">{number}</b><span class="s">{symbol}</span>' in chosen


async def test_a_proved_part_is_fitted_read_again_and_noted_with_its_proof(site: Datasette) -> None:
    html = await get_page(site, PROVED)
    assert "Proved: fit it, then read again" in html
    assert "4.43362 MHz" in html
    form = html[html.index('action="/note" class="cured"') :]
    form = form[: form.index("</form>")]
    fields = dict(re.findall(r'type="hidden" name="([^"]+)" value="([^"]*)"', form))
    assert (fields["at"], fields["part"], fields["failure"]) == ("pin 4", "C406", "open")
    assert (fields["symptom"], fields["proof"]) == ("no colour", "out of circuit: open")
    noted = await get_page(
        site, f"/note?{urlencode(fields)}&after_freq=4.43362&after_freq_unit=MHz"
    )
    assert "--proof" in noted
    assert "freq=4.43362 MHz" in noted


async def test_without_a_proof_the_note_names_no_cause(site: Datasette) -> None:
    html = await get_page(site, JUMPING)
    note = re.search(r'href="/note\?([^"]+)">Note it', html)
    assert note is not None
    fields = dict(parse_qsl(note[1]))
    assert "part" not in fields
    assert fields["text"].startswith("Cause not proved.")


async def test_a_reading_is_changed_or_taken_out_in_place(site: Datasette) -> None:
    html = await get_page(site, f"{JUMPING}&at=6&dc=4.3+V")
    assert f'href="{BENCH}?symptom=no+colour&at=6&dc=4.3+V">Take it out' in html
    edit = html[html.rindex('class="edit"') :]
    assert 'name="freq" value="1.05 MHz"' in edit


async def test_lines_of_version_0_1_are_read_still(site: Datasette) -> None:
    old = await get_page(site, f"{BENCH}?symptom=no+colour&reading=4+freq%3D1.05MHz+seen%3Djumping")
    new = await get_page(site, JUMPING)
    assert list_percents(old) == list_percents(new)


async def test_the_job_is_named_for_the_list_of_jobs(site: Datasette) -> None:
    html = await get_page(site, JUMPING)
    assert 'data-part="KYE4728" data-symptom="no colour"' in html
    assert f'data-address="{JUMPING}"' in html


async def test_no_page_of_the_bench_speaks_of_chances_as_a_program_does(site: Datasette) -> None:
    for address in (BENCH, JUMPING, PROVED):
        text = re.sub(r"<[^>]+>", " ", await get_page(site, address))
        for word in ("hypothes", "probabilit", " bits", "folio_", "weigh"):
            assert word not in text.casefold().replace("the folio as tables", "")


async def test_a_node_is_shown_from_the_pin_it_is_reached_from(site: Datasette) -> None:
    address = "/chip/KYE4728/fault-finding?symptom=no+colour&next=crystal-node+vpp"
    page = (await site.client.get(f"{address}&at=4&freq=1.05MHz&seen=jumping")).text
    assert "Not at the pin: on the far side of C406 from pin 4 XTAL" in page
    assert "beside" not in page.partition("Not at the pin")[2].partition("</p>")[0]
