"""The JSON documents of the pages, whole."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import pytest
from datasette.app import Datasette
from pinfolio.data_demo import chip_files, note_files
from pinfolio.loaders.folio.build import build_folio
from pinfolio.plugins.web.serving.server import open_datasette

from .golden_file import FOLDER, compare, format_document

DOCUMENTS: Final = {
    "check_pages/as-expected": "/chip/TQZ5752/13/check.json?dc=3.4V",
    "check_pages/too-low": "/chip/TQZ5752/13/check.json?dc=1V&vpp=0.2Vpp&condition=no+signal",
    "chip_pages/chip": "/chip/TQZ5752.json",
    "chip_pages/chip-condition": "/chip/TQZ5752.json?condition=no+signal",
    "pin_pages/pin": "/chip/TQZ5752/13.json",
    "pin_pages/pin-read": "/chip/TQZ5752/13.json?dc=1V",
    "pin_pages/pin-through-probe": "/chip/TQZ5752/46.json?probe=x1+probe",
    "chip_pages/unknown-chip": "/chip/XQJ9999.json",
    "pin_pages/unknown-pin": "/chip/TQZ5752/99.json",
    "comparison_pages/compare": "/compare.json?a=TQZ5752&b=OGX7342",
    "note_pages/notes": "/notes.json",
    "note_pages/notes-searched": "/notes.json?q=picture+tears",
    "search_pages/find-marking": "/find.json?q=5752",
    "search_pages/find-nothing": "/find.json?q=XQJ9999",
    "search_pages/find-words": "/find.json?q=burst+key",
}


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Datasette:
    """Return the pages of the demonstration folio."""
    path = tmp_path_factory.mktemp("folio") / "demo.db"
    build_folio([*chip_files(), *note_files()], path)
    return open_datasette(path)


@pytest.mark.parametrize("name", DOCUMENTS)
async def test_a_page_serves_its_document(name: str, site: Datasette, renew: bool) -> None:
    answer = await site.client.get(DOCUMENTS[name], follow_redirects=True)
    document = {"status": answer.status_code, "document": answer.json()}
    compare(f"web/{name}.json", format_document(document), renew)


def test_every_file_is_of_a_test() -> None:
    files = {str(path.relative_to(FOLDER)) for path in (FOLDER / "web").rglob("*.json")}
    assert files == {f"web/{name}.json" for name in DOCUMENTS}


def test_every_page_with_a_document_is_here() -> None:
    pages = Path(__file__).parents[2] / "plugins" / "web" / "pages"
    with_document = {p.stem for p in pages.glob("*.py") if "json" in p.read_text(encoding="utf-8")}
    named = {name.partition("/")[0] for name in DOCUMENTS}
    assert named == with_document - {"__init__", "fault_finding_pages"}
