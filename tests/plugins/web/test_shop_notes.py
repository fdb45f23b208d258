"""``serve --shop``: a shop's notes over the folio; a change shows on the next page."""

from __future__ import annotations

import shutil
from collections.abc import AsyncIterator
from pathlib import Path

import httpx
import pytest
from pinfolio.loaders.shop.note_files import add_note, add_notes, draw_note_id
from pinfolio.loaders.shop.shop_folder import Shop, ShopError
from pinfolio.plugins.web.serving.shop_notes import ShopNotes
from pinfolio.schema.note import Note

PAGE = "/chip/TQZ5752/13"


def add_remark(shop: Shop, text: str) -> None:
    fields = {
        "id": draw_note_id(), "kind": "remark", "shop": "bench-a", "author": "bench-a",
        "date": "2026-11-25", "chip": "TQZ5752", "at": "pin 13", "text": text,
    }  # fmt: skip
    add_note(shop, Note.model_validate(fields))


def read_bytes(folder: Path) -> dict[Path, bytes]:
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.fixture
def told() -> list[str]:
    return []


@pytest.fixture
async def pages(
    demo_path: Path, shop: Shop, tmp_path: Path, told: list[str]
) -> AsyncIterator[httpx.AsyncClient]:
    (tmp_path / "copies").mkdir()
    served = ShopNotes(demo_path, shop.folder, tmp_path / "copies", told.append)
    transport = httpx.ASGITransport(app=served)
    async with (
        served,
        httpx.AsyncClient(transport=transport, base_url="http://localhost") as client,
    ):
        yield client


async def test_a_new_note_shows_on_the_next_page(
    pages: httpx.AsyncClient, shop: Shop, demo_path: Path, told: list[str]
) -> None:
    assert "Lift R702 first." not in (await pages.get(PAGE)).text
    add_remark(shop, "Lift R702 first.")
    before = read_bytes(shop.folder) | read_bytes(demo_path.parent)
    assert "Lift R702 first." in (await pages.get(PAGE)).text
    assert "Lift R702 first." in (await pages.get("/notes.json?q=lift")).text
    # Pages never write: neither to the shop's folder nor beside the folio.
    assert read_bytes(shop.folder) | read_bytes(demo_path.parent) == before
    assert told == [f"{shop.folder}: changed; its notes are shown as they are now."]


async def test_a_folder_that_is_spoilt_leaves_the_pages(
    pages: httpx.AsyncClient, shop: Shop, told: list[str]
) -> None:
    add_remark(shop, "Lift R702 first.")
    await pages.get(PAGE)
    shutil.rmtree(shop.folder)
    answer = await pages.get(PAGE)
    assert (answer.status_code, "Lift R702 first." in answer.text) == (200, True)
    assert "no shop here" in told[-1]
    assert told[-1].endswith("The pages before it stay.")


async def test_a_note_that_is_set_aside_is_named_once(
    pages: httpx.AsyncClient, shop: Shop, told: list[str]
) -> None:
    (shop.notes / "bad.yaml").write_text("kind: gossip\n")
    await pages.get(PAGE)
    add_remark(shop, "Another.")
    await pages.get(PAGE)
    lines = [line for line in told if "bad.yaml" in line]
    assert lines
    assert len(set(lines)) == len(lines)


async def test_a_page_lists_the_first_of_very_many_notes(
    pages: httpx.AsyncClient, shop: Shop
) -> None:
    fields = {
        "kind": "known-good reading", "shop": "bench-a", "author": "bench-a", "chip": "TQZ5752",
        "date": "2026-11-25", "at": "pin 13", "condition": "no signal", "readings": {"dc": "3.1 V"},
    }  # fmt: skip
    sets = [f"job {number}" for number in range(70)]
    add_notes(
        shop,
        [Note.model_validate(fields | {"id": draw_note_id(), "set_name": name}) for name in sets],
    )
    page, document = await pages.get(PAGE), await pages.get(f"{PAGE}.json")
    assert 0 < page.text.count("job ") <= 50  # the demonstration has readings too
    assert "The first 50; all: <code>pinfolio note list TQZ5752 13</code>" in page.text
    assert document.text.count("job ") == 70


def test_a_folder_that_is_no_shop_is_refused(demo_path: Path, tmp_path: Path) -> None:
    with pytest.raises(ShopError, match="no shop here"):
        ShopNotes(demo_path, tmp_path, tmp_path)
