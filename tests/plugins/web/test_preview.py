"""The preview of a chip file: it follows each save, and a broken save keeps the last good pages."""

from __future__ import annotations

import os
from pathlib import Path

import httpx
import pytest
from datasette.app import Datasette
from pinfolio.data_demo import chip_files
from pinfolio.plugins.web.preview import Preview

GOOD = next(path for path in chip_files() if path.stem == "mdq2216").read_text(encoding="utf-8")


class Saved:
    """A chip file being written, and its preview."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "mdq2216.yaml"
        self._saves = 0
        self.save(GOOD)
        (folder / "folios").mkdir()
        self.preview = Preview(self.path, folder / "folios")

    def save(self, text: str) -> None:
        self.path.write_text(text, encoding="utf-8")
        self._saves += 1
        os.utime(self.path, ns=(self._saves * 10**9,) * 2)  # no two saves at one instant

    async def get(self, address: str) -> httpx.Response:
        transport = httpx.ASGITransport(app=self.preview)
        async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client:
            return await client.get(address)


@pytest.fixture
def saved(tmp_path: Path) -> Saved:
    return Saved(tmp_path)


async def test_the_pages_follow_a_save(saved: Saved) -> None:
    assert "MDQ2216" in (await saved.get("/chip/MDQ2216")).text
    first = (await saved.get("/-/preview.json")).json()["version"]
    saved.save(GOOD.replace("Meridell Semiconductor", "Another Maker"))
    assert (await saved.get("/-/preview.json")).json()["version"] == first + 1
    assert "Another Maker" in (await saved.get("/chip/MDQ2216")).text


async def test_a_broken_save_shows_its_faults_and_keeps_the_pages(saved: Saved) -> None:
    await saved.get("/chip/MDQ2216")
    saved.save(GOOD.replace("role: input", "role: inptu", 1))
    page = await saved.get("/chip/MDQ2216")
    assert page.status_code == 200
    assert "The last save has faults" in page.text
    assert "write &#39;input&#39;" in page.text
    saved.save(GOOD)
    assert "faults" not in (await saved.get("/chip/MDQ2216")).text


async def test_a_file_that_is_broken_from_the_start_says_so(saved: Saved) -> None:
    saved.save("part: X\n\tmaker: y\n")
    answer = await saved.get("/")
    assert "a tab: expected spaces" in answer.text
    assert answer.headers["refresh"] == "1"
    saved.save(GOOD)
    assert (await saved.get("/chip/MDQ2216")).status_code == 200


async def test_advice_stands_beside_the_pin_it_concerns(saved: Saved) -> None:
    await saved.get("/")
    chip = saved.preview.chip
    assert chip is not None
    concerned = [pin.number for pin in chip.pins if saved.preview.beside(pin.number)]
    for number in concerned:
        page = (await saved.get(f"/chip/MDQ2216/{number}")).text
        assert 'class="preview"' in page
    assert saved.preview.beside(999) == ()


async def test_only_the_preview_reloads_by_itself(saved: Saved, site: Datasette) -> None:
    assert "preview.js" in (await saved.get("/chip/MDQ2216")).text
    assert "preview.js" not in (await site.client.get("/chip/MDQ2216")).text


async def test_a_vanished_file_keeps_the_last_pages(saved: Saved) -> None:
    await saved.get("/")
    saved.path.unlink()
    page = await saved.get("/chip/MDQ2216")
    assert page.status_code == 200
    assert "The last save has faults" in page.text
