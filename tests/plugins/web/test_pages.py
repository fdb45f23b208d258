"""Every page: its status, its policy, nothing from outside, one heading; hostile text as text."""

from __future__ import annotations

import json
import re
from html import unescape
from pathlib import Path

import httpx
import pytest
from datasette.app import Datasette
from datasette.utils import StartupError
from pinfolio.loaders.folio.build import build_from_chips
from pinfolio.loaders.folio.folio_file import SCHEMA_VERSION
from pinfolio.plugins.web.headers import STRICT_POLICY
from pinfolio.plugins.web.serving.server import open_datasette
from pinfolio.schema import Chip

PAGES = [
    "/",
    "/find",
    "/find?q=5752",
    "/find?q=burst+key",
    "/find?q=%22NEAR(",
    "/find?q=KYE%3F%3F%3F%3F&typing=1",
    "/find?q=Q%3F57&package=SDIP-52&pins=52&supply=9&role=%F0%9F%98%80",
    "/find?q=sync&pins=-1&supply=99999999999999999999",
    "/find?q=TQZ58888",
    "/chip/TQZ5752",
    "/chip/TQZ5752?condition=no+signal",
    "/chip/TQZ5752/13",
    "/chip/TQZ5752/SYNC%20IN",
    "/chip/TQZ5752/22?condition=no+signal",
    "/chip/TQZ5752/13?dc=1.8+V&expect=observed",
    "/parts",
    "/notes",
    "/notes?q=no+colour",
    "/notes?q=%22NEAR(&dc=x",
    "/notes?q=tears&chip=TQZ5752&at=pin+13&dc=1.8+V",
    "/chip/MDQ3724/fault-finding",
    "/chip/MDQ3724/fault-finding?symptom=no+green&readings=2+vpp%3D0.01Vpp",
    "/compare",
    "/compare?a=TQZ5752&b=OGX7342",
    "/chip/TQZ5752?words=sync&role=input&stage=Sync+and+line",
    "/chip/TQZ5752?words=%3Cscript%3E",
    "/chip/KYE6848",
    "/chip/TQZ3609",
    "/fault-finding",
    "/fault-finding?symptom=no+blue",
    "/fault-finding?symptom=%22",
    "/chip/TQZ5752/bench-sheet",
    "/begin",
    "/begin?part=QX1&family=SDIP&pins=42&kind=jungle",
    "/chip/TQZ5752/bench-sheet?side=solder&condition=no+signal",
    "/chip/KYE6848/bench-sheet",
    "/chip/TQZ3609/bench-sheet",
]
NOT_THERE = ["/chip/TQZ5725", "/chip/TQZ5752/99", "/chip/TQZ5752/1?condition=dark", "/nothing"]


@pytest.mark.parametrize("address", PAGES)
async def test_a_page_is_there_and_keeps_the_rules(site: Datasette, address: str) -> None:
    answer = await site.client.get(address)
    assert answer.status_code == 200
    require_the_rules(answer)


@pytest.mark.parametrize("address", NOT_THERE)
async def test_what_is_not_there_gets_a_page_with_the_search_box(
    site: Datasette, address: str
) -> None:
    answer = await site.client.get(address)
    assert answer.status_code == 404
    assert 'name="q"' in answer.text
    require_the_rules(answer)


def require_the_rules(answer: httpx.Response) -> None:
    """Fail unless a page is in order and brings nothing from outside."""
    assert answer.headers["content-security-policy"] == STRICT_POLICY
    assert answer.headers["x-content-type-options"] == "nosniff"
    html = answer.text
    assert len(re.findall(r"<h1[ >]", html)) == 1
    assert '<html lang="en">' in html
    assert "<style" not in html
    assert not re.search(r"""\sstyle=|\son[a-z]+=|<script(?![^>]*src=)|javascript:""", html)
    outside = re.findall(r"""(?:src|href|action)="(?:https?:)?//[^"]*""", html)
    assert outside == []


async def test_the_style_sheet_is_served(site: Datasette) -> None:
    html = (await site.client.get("/")).text
    addresses = re.findall(r'rel="stylesheet" href="([^"]+)"', html)
    assert len(addresses) >= 2
    for address in addresses:
        answer = await site.client.get(address)
        assert answer.status_code == 200
        assert "@media" in answer.text


async def test_nearest_parts_are_offered(site: Datasette) -> None:
    html = (await site.client.get("/chip/TQZ5725")).text
    assert 'href="/chip/TQZ5752"' in html
    document = (await site.client.get("/chip/TQZ5725.json")).json()
    assert document["nearest"][0] == "TQZ5752"


async def test_page_and_document_show_the_same_values(site: Datasette) -> None:
    html = unescape((await site.client.get("/chip/TQZ5752/13")).text)
    document = (await site.client.get("/chip/TQZ5752/13.json")).json()
    bars = next(e for e in document["expectations"] if e["condition"] == "colour bars")
    assert f"{bars['dc']['typ_v']:g} V" in html
    assert bars["waveform"]["describes"] in html
    assert bars["source"] in html


async def test_pins_are_chosen_by_the_server_too(site: Datasette) -> None:
    html = (await site.client.get("/chip/TQZ5752?words=sync&stage=Field")).text
    lines = re.findall(r'<tr id="pin([0-9]+)"[^>]*?( hidden)?>', html)
    assert len(lines) == 52
    assert [number for number, hidden in lines if not hidden] == ["15"]
    assert "1 of 52 pins." in html


async def test_a_picture_of_a_symptom_leads_to_the_chips_that_can_do_it(site: Datasette) -> None:
    home = unescape((await site.client.get("/")).text)
    addresses = re.findall(r'href="(/fault-finding\?symptom=[^"]+)"', home)
    assert len(addresses) == 14
    for address in addresses:
        html = unescape((await site.client.get(address)).text)
        hunts = re.findall(r'href="(/chip/[^"]+/fault-finding\?symptom=[^"]+)"', html)
        assert hunts, address


async def test_datasette_pages_stay_reachable_and_have_a_policy(site: Datasette) -> None:
    for address in ("/demo/pin", "/demo/chip.json", "/-/plugins.json"):
        answer = await site.client.get(address)
        assert answer.status_code == 200
        assert "default-src 'self'" in answer.headers["content-security-policy"]


async def test_behind_a_prefix_every_link_has_it(demo_path: Path) -> None:
    site = open_datasette(demo_path, base_url="/bench/")
    html = (await site.client.get("/chip/TQZ5752/13")).text
    links = re.findall(r'(?:href|action)="([^"#]+)', html)
    assert links
    assert all(link.startswith("/bench/") for link in links)


OUR_SCRIPT = re.compile(r'<script src="/-/static-plugins/pinfolio/[a-z]+\.js" defer>')
HOSTILE = "<script>alert(1)</script>\"'&\u202e\x1b[31m"


@pytest.fixture
def hostile(tmp_path: Path, jungle: Chip) -> Datasette:
    fields = json.loads(jungle.model_dump_json())
    fields |= {"part": 'A/B "1".json', "maker": HOSTILE, "summary": HOSTILE, "markings": [HOSTILE]}
    fields["pins"][12] |= {"function": HOSTILE, "symbol": HOSTILE}
    fields["conditions"][3]["means"] = HOSTILE
    fields["hazards"][0]["caution"] = HOSTILE
    fields["application"]["parts"][0] |= {"purpose": HOSTILE, "ref": HOSTILE}
    path = tmp_path / "hostile.db"
    build_from_chips([Chip.model_validate(fields)], path)
    return open_datasette(path)


async def test_hostile_text_is_text_on_every_page(hostile: Datasette) -> None:
    part = "A%2FB%20%221%22%2Ejson"
    addresses = ("/", "/find?q=alert", f"/chip/{part}", f"/chip/{part}/13", f"/chip/{part}/1")
    for address in addresses:
        answer = await hostile.client.get(address)
        assert "<script>" not in answer.text, address
        scripts = re.findall(r"<script[^>]*>", answer.text)
        assert all(OUR_SCRIPT.fullmatch(script) for script in scripts), address
        assert "\u202e" not in answer.text, address
    assert "<script>" not in (await hostile.client.get("/find?q=%3Cscript%3E")).text


async def test_a_part_with_slash_quote_and_ending_has_its_own_address(hostile: Datasette) -> None:
    html = (await hostile.client.get("/")).text
    (href,) = re.findall(r'<li><a href="(/chip/[^"]+)"', html)
    for address in (href, f"{href}/1"):
        answer = await hostile.client.get(address)
        assert answer.status_code == 200
        assert "text/html" in answer.headers["content-type"]


async def test_a_folio_of_another_version_is_refused_with_the_mend(
    tmp_path: Path, demo_path: Path
) -> None:
    old = bytearray(demo_path.read_bytes())
    old[60:64] = (SCHEMA_VERSION + 1).to_bytes(4)
    path = tmp_path / "old.db"
    path.write_bytes(old)
    with pytest.raises(StartupError, match=r"schema version .* build it again: pinfolio build"):
        await Datasette([], immutables=[str(path)]).invoke_startup()


async def test_without_a_folio_datasette_is_itself() -> None:
    answer = await Datasette([], memory=True).client.get("/")
    assert answer.status_code == 200
    assert "What should be on this pin" not in answer.text
