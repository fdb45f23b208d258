"""Notes on their pages: found, side by side in conflict, safe; ranges beside the chip file's."""

from __future__ import annotations

import hashlib
import io
import re
from collections.abc import Callable
from html import unescape
from pathlib import Path

import pytest
from click.testing import Result
from datasette.app import Datasette
from PIL import Image
from pinfolio.loaders import Folio
from pinfolio.loaders.folio.build import build_from_chips
from pinfolio.loaders.shop.attachments import prepare_attachment
from pinfolio.loaders.shop.note_files import format_stored_name
from pinfolio.plugins.cards.attached_captures import MOST_DRAWN
from pinfolio.plugins.cards.pin_card import build_pin_card
from pinfolio.plugins.notes.note_search import find_notes
from pinfolio.plugins.web.headers import STRICT_POLICY
from pinfolio.plugins.web.serving.server import open_datasette
from pinfolio.schema import Chip
from pinfolio.schema.chips.lookup import find_pin
from pinfolio.schema.note import Attachment, Note

HOSTILE = "<script>alert(1)</script>![x](https://example.org/x.png) <img src=x onerror=alert(1)>"


CSV = b"time (s),CH1 (V)\n" + b"".join(b"%de-8,%d\n" % (n, n % 50) for n in range(500))


async def read_text(site: Datasette, address: str) -> str:
    answer = await site.client.get(address)
    assert answer.status_code == 200
    return re.sub(r"\s+", " ", unescape(answer.text))


@pytest.mark.parametrize(
    "words", ["picture tears", "X701", "ceramic resonator", "the resonator jumps"]
)
async def test_notes_are_found_by_symptom_part_and_remedy(site: Datasette, words: str) -> None:
    document = (await site.client.get("/notes.json", params={"q": words})).json()
    assert ("TQZ5752", "pin 17") in [(note["chip"], note["at"]) for note in document["notes"]]
    assert "/chip/TQZ5752/17" in await read_text(site, f"/notes?q={words.replace(' ', '+')}")


async def test_page_and_function_give_the_same_document(site: Datasette, demo: Folio) -> None:
    document = (await site.client.get("/notes.json?q=no+colour")).json()
    assert document == find_notes(demo, "no colour").document()
    assert document["alike"][0]["why"] == ["symptom: colour"]


async def test_without_a_question_the_newest_come_first(site: Datasette) -> None:
    dates = [note["date"] for note in (await site.client.get("/notes.json")).json()["notes"]]
    assert dates == sorted(dates, reverse=True)


async def test_sets_like_this_by_what_was_read(site: Datasette) -> None:
    address = "/notes.json?chip=tqz5752&at=pin+13&dc=1.8+V&q=tears"
    first = (await site.client.get(address)).json()["alike"][0]
    assert (first["at"], first["why"]) == ("pin 13", ["symptom: tears", "dc at pin 13"])


async def test_a_reading_that_cannot_be_understood_is_said(site: Datasette) -> None:
    assert "dc 'lots'" in await read_text(site, "/notes?dc=lots")
    answer = await site.client.get("/notes.json?dc=lots")
    assert (answer.status_code, list(answer.json())) == (400, ["error"])


async def test_a_wrong_reading_on_the_card_brings_sets_like_this(site: Datasette) -> None:
    page = await read_text(site, "/chip/TQZ5752/13?dc=1.8+V&condition=colour+bars")
    assert "Read so before:" in page
    assert "Picture rolls and tears, no hold either way" in page
    assert "Alike in DC at pin 13. halvorsen-sister, 2 sets." in page
    good = await read_text(site, "/chip/TQZ5752/13?dc=3.4+V&condition=colour+bars")
    assert "Read so before:" not in good


async def test_an_edit_by_another_shop_is_shown_beside_the_note(site: Datasette) -> None:
    page = await read_text(site, "/chip/TQZ5752/22")
    assert "Proposed by tarnbrook-niece, not taken by halvorsen-sister" in page
    assert "halvorsen-sister, 2 sets, seen several times, 2025-08-20" in page
    assert "tarnbrook-niece, 1 set, seen once, 2025-09-05" in page
    document = (await site.client.get("/chip/TQZ5752/22.json")).json()
    (note,) = document["notes"]
    assert note["shop"] == "halvorsen-sister"
    assert [each["shop"] for each in note["proposals"]] == ["tarnbrook-niece"]


async def test_what_was_taken_back_is_nowhere(site: Datasette) -> None:
    assert "flickers" not in await read_text(site, "/chip/TQZ5752/47")
    assert "flickers" not in await read_text(site, "/chip/TQZ5752")


async def test_the_observed_range_stands_beside_the_stated_one(site: Datasette) -> None:
    page = await read_text(site, "/chip/TQZ5752/13?condition=no+signal")
    assert '<span class="big">3.12 V</span></p> <p><span class="num">2.75 to 3.48 V</span>' in page
    assert 'Good sets read <b class="num">3.12 V</b> (2.75 V to 3.48 V).' in page
    assert "12 readings, 16 sets, 3 shops" in page
    assert "Apart, not counted: 4.86 V, tarnbrook-niece, 2026-02-20" in page


async def test_a_value_not_borne_out_gets_a_correction_proposed(site: Datasette) -> None:
    assert "Proposed instead: <b>min 4.24 V typ 4.43 V" in await read_text(site, "/chip/TQZ5752/49")


async def test_too_few_readings_say_so(site: Datasette) -> None:
    assert "two shops only: no range" in await read_text(site, "/chip/TQZ5752/17")


async def test_the_chip_sheet_lists_notes_and_links_good_readings(site: Datasette) -> None:
    page = await read_text(site, "/chip/TQZ5752")
    assert "Verticals bend at the top" in page
    assert 'Good sets read: <a href="/chip/TQZ5752/13">pin 13</a> (20)' in page
    document = (await site.client.get("/chip/TQZ5752.json")).json()
    confidences = [note["confidence"] for note in document["notes"] if "confidence" in note]
    order = {"always": 0, "several times": 1, "once": 2}
    assert confidences == sorted(confidences, key=order.__getitem__)


def test_command_and_page_hold_a_reading_against_good_sets(run: Callable[..., Result]) -> None:
    asked = ("check", "TQZ5752", "13", "--dc", "3.65 V", "--condition", "no signal")
    stated = run(*asked, "--expect", "stated")
    observed = run(*asked)
    assert (observed.exit_code, "too high" in observed.output) == (1, True)
    assert "observed in" in observed.output
    assert "observed in" not in stated.output


async def test_the_page_does_so_too(site: Datasette) -> None:
    address = "/chip/TQZ5752/13/check.json?dc=3.65+V&condition=no+signal"
    (result,) = (await site.client.get(address)).json()["results"]
    assert result["expected"]["tolerance"] == "observed"
    page = await read_text(site, "/chip/TQZ5752/13?dc=3.65+V&condition=no+signal")
    assert re.search(r'<h2 id="told"[^>]*>.{0,50} Too high</h2>', page)
    assert "should be 2.75 to 3.48 V" in page


def test_where_too_little_was_observed_the_chip_file_stands_in(run: Callable[..., Result]) -> None:
    asked = ("check", "TQZ5752", "17", "--dc", "4.1 V", "--condition", "colour bars")
    told = " ".join(run(*asked).output.split())
    assert "dc: two shops only: no range; held against the chip file" in told


def test_the_command_prints_what_was_observed_and_noted(run: Callable[..., Result]) -> None:
    told = " ".join(run("pin", "TQZ5752", "49").output.split())
    assert "Observed DC 4.42 V, 4.24 V to 4.61 V; 10 readings, 12 sets, 3 shops" in told
    assert "Note correction; read: DC 4.42 V ± 5 %" in told
    proposed = " ".join(run("pin", "TQZ5752", "22").output.split())
    assert "Proposed not taken by halvorsen-sister: " in proposed
    sheet = " ".join(run("chip", "MDQ3724").output.split())
    assert "Notes 6 of shops, at cathode-blue, pin 20, pin 3, pin 12, pin 15" in sheet


async def test_a_strangers_note_is_text(tmp_path: Path, jungle: Chip) -> None:
    fields = {"id": "a" * 16, "kind": "fault and remedy", "shop": "s", "author": "a"}
    fields |= {"date": "2026-01-01", "chip": "TQZ5752", "at": "pin 13", "text": HOSTILE}
    fields |= dict.fromkeys(("symptom", "failure", "cure"), HOSTILE)
    fields |= {"part": HOSTILE[:80], "chassis": HOSTILE[:80]}
    elsewhere = {**fields, "id": "b" * 16, "chip": HOSTILE[:80], "at": HOSTILE[:80]}
    path = tmp_path / "hostile.db"
    build_from_chips([jungle], path, notes=[Note.model_validate(f) for f in (fields, elsewhere)])
    site = open_datasette(path)
    for address in ("/chip/TQZ5752/13?dc=0+V", "/chip/TQZ5752", "/notes", "/notes?q=alert"):
        html = (await site.client.get(address)).text
        assert "alert" in html
        assert not re.search(r"<script(?! src=\"/)|<img|<[^<>]*\son\w+=|href=\"https?:", html), (
            address
        )


async def test_a_picture_stands_small_beside_its_note_and_leads_to_the_file(
    site: Datasette,
) -> None:
    html = (await site.client.get("/chip/OGX1524/7")).text
    (image,) = re.findall(r"<img [^>]*>", html)
    (address,) = re.findall(r'src="([^"]+)"', image)
    assert f'<a href="{address}">' in html
    width, height = (int(size) for size in re.findall(r'(?:width|height)="(\d+)"', image))
    answer = await site.client.get(address)
    with Image.open(io.BytesIO(answer.content)) as picture:
        assert picture.format == "PNG"
        assert (width, height) == (320, round(320 * picture.height / picture.width))
    assert 'alt="Sketch of the solder side: the dry joint at pin 7' in image


@pytest.mark.parametrize(
    ("card", "ending", "media"),
    [
        ("OGX1524/7", "png", "image/png"),
        ("TQZ5752/34", "jpg", "image/jpeg"),
        ("TQZ5752/22", "csv", "text/csv"),
    ],
)
async def test_an_attached_file_is_served_as_what_it_is_and_nothing_else(
    site: Datasette, card: str, ending: str, media: str
) -> None:
    html = (await site.client.get(f"/chip/{card}")).text
    address = next(iter(re.findall(rf"/notes/attachment/[0-9a-f]{{64}}\.{ending}", html)))
    answer = await site.client.get(address)
    headers = answer.headers
    assert (answer.status_code, headers["content-type"].partition(";")[0]) == (200, media)
    assert hashlib.sha256(answer.content).hexdigest() in address
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["content-security-policy"] == STRICT_POLICY
    assert ("content-disposition" in headers) == (ending == "csv")
    other = address.replace(f".{ending}", ".png" if ending != "png" else ".jpg")
    assert (await site.client.get(other)).status_code == 404


async def test_an_attachment_that_is_not_held_leads_nowhere(site: Datasette) -> None:
    for name in (f"{'0' * 64}.png", "x.png", f"{'0' * 64}.svg"):
        assert (await site.client.get(f"/notes/attachment/{name}")).status_code == 404


async def test_a_capture_is_drawn_over_what_is_expected(site: Datasette) -> None:
    page = await read_text(site, "/chip/TQZ5752/22")
    title = (
        "hardly stands above line blanking, over what is expected at TQZ5752 pin 22, colour bars"
    )
    assert title in page
    assert 'class="scope-captured"' in page
    assert re.search(r"Level burst key: 3\.4\d? V where 5\.3 V should be", page)
    assert re.search(r'<a href="[^"]+\.csv" download="sandcastle\.csv">sandcastle.csv</a>', page)
    assert "Measured: 1.07 Vpp, 489 kHz." in await read_text(site, "/chip/TQZ5752/17")
    assert 'class="scope-captured"' in await read_text(site, "/notes?q=blanking+too+wide")
    sheet = await read_text(site, "/chip/TQZ5752")
    assert "Drawn over the expected trace on the card of pin 17." in sheet


def test_the_terminal_names_what_is_attached(run: Callable[..., Result]) -> None:
    told = " ".join(run("pin", "OGX1524", "7").output.split())
    assert "attached: pin-7.png (Sketch of the solder side" in told


async def test_of_a_capture_where_nothing_is_expected_the_file_is_linked(
    tmp_path: Path, jungle: Chip
) -> None:
    """At a block, in a state the chip does not know, on an unknown chip; a file without samples."""
    capture, text = prepare_attachment(CSV, "ramp.csv"), b"neither times nor volts"
    odd = Attachment(name="odd.csv", sha256=hashlib.sha256(text).hexdigest(), caption=HOSTILE[:80])
    fields = {"kind": "remark", "shop": "s", "author": "a", "date": "2026-01-01", "text": "See."}
    fields |= {"chip": "TQZ5752", "at": "pin 13"}
    cases = [
        {"at": "line-oscillator"},
        {"condition": "moonlight"},
        {"chip": "ZZ99"},
        {"attachments": [odd]},
    ]
    notes = [
        Note.model_validate(
            {**fields, "id": f"{'a' * 15}{n}", "attachments": [capture.attachment], **case}
        )
        for n, case in enumerate(cases, start=2)
    ]
    files = {
        format_stored_name(each): tmp_path / format_stored_name(each)
        for each in (capture.attachment, odd)
    }
    for path, data in zip(files.values(), (capture.data, text), strict=True):
        path.write_bytes(data)
    build_from_chips([jungle], tmp_path / "odd.db", notes=notes, attachments=files)
    html = (await open_datasette(tmp_path / "odd.db").client.get("/notes")).text
    assert html.count('download="ramp.csv"') == 3
    assert html.count('download="odd.csv"') == 1
    assert "scope-captured" not in html
    assert "<img" not in html


async def test_what_the_folio_does_not_hold_is_named(tmp_path: Path, jungle: Chip) -> None:
    fields = {"id": "a" * 16, "kind": "remark", "shop": "s", "author": "a", "date": "2026-01-01"}
    fields |= {"chip": "TQZ5752", "at": "pin 13", "text": "See."}
    attached = [prepare_attachment(CSV, "ramp.csv").attachment]
    note = Note.model_validate({**fields, "attachments": attached})
    build_from_chips([jungle], tmp_path / "bare.db", notes=[note])
    page = await read_text(open_datasette(tmp_path / "bare.db"), "/chip/TQZ5752/13")
    assert "ramp.csv, not in this folio" in page


async def test_no_more_captures_are_drawn_than_a_page_may_have(
    tmp_path: Path, jungle: Chip
) -> None:
    capture = prepare_attachment(CSV, "ramp.csv")
    fields = {"kind": "remark", "shop": "s", "author": "a", "date": "2026-01-01", "text": "See."}
    fields |= {"chip": "TQZ5752", "at": "pin 17", "condition": "colour bars"}
    notes = [
        Note.model_validate(
            {**fields, "id": letter * 16, "attachments": [capture.attachment.model_dump()]}
        )
        for letter in "abcdefghijkl"
    ]
    path = tmp_path / format_stored_name(capture.attachment)
    path.write_bytes(capture.data)
    build_from_chips([jungle], tmp_path / "many.db", notes=notes, attachments={path.name: path})
    html = (await open_datasette(tmp_path / "many.db").client.get("/chip/TQZ5752/17")).text
    assert html.count('class="scope-captured"') == MOST_DRAWN
    assert html.count('download="ramp.csv"') == len(notes)


def test_a_card_without_notes_is_as_it_was(jungle: Chip) -> None:
    document = build_pin_card(jungle, find_pin(jungle, "13")).document()
    assert document["notes"] == []
    assert all(each["observed"] == [] for each in document["expectations"])
