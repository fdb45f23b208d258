"""A folio, a published folder with two editions, and a shop with own and received notes."""

from __future__ import annotations

from pathlib import Path

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.folio.build import build_folio
from pinfolio.loaders.publishing.published_folder import Pages, publish
from pinfolio.loaders.shop.attachments import prepare_attachment
from pinfolio.loaders.shop.bundle_reading import read_bundle
from pinfolio.loaders.shop.bundle_writing import select_notes_to_share, write_bundle
from pinfolio.loaders.shop.merging import apply_plan, plan_merge
from pinfolio.loaders.shop.note_files import add_note, locate_attachment
from pinfolio.loaders.shop.shop_folder import Shop, init_shop
from pinfolio.schema.note import Note

CSV = b"time,volts\n0,1.5\n1e-6,1.6\n2e-6,1.7\n"


def write_two_pages(folio: Path, folder: Path) -> None:
    (folder / "chip").mkdir()
    (folder / "index.html").write_text("The chips")
    (folder / "chip" / "one.html").write_text("One chip")


PAGES = Pages(write_two_pages, "0" * 64)


def make_note(shop: str, letter: str, **fields: object) -> Note:
    usual = {"id": f"{letter * 8}22334455", "kind": "remark", "shop": shop, "author": shop}
    usual |= {"date": "2026-11-25", "chip": "QZ1000", "at": "pin 3", "text": "Reads so."}
    return Note.model_validate(usual | fields)


@pytest.fixture(scope="session")
def folio(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("built") / "folio.db"
    build_folio(chip_files()[:1], path)
    return path


@pytest.fixture(scope="session")
def older(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("older") / "folio.db"
    build_folio(chip_files()[1:2], path)
    return path


@pytest.fixture
def signer(tmp_path: Path) -> Shop:
    return init_shop(tmp_path / "signer", "bench-s")


@pytest.fixture
def public(folio: Path, older: Path, signer: Shop, tmp_path: Path) -> Path:
    """A published folder: a signed edition with pages, and an earlier one without."""
    publish(older, tmp_path / "public")
    publish(folio, tmp_path / "public", PAGES, shop=signer)
    return tmp_path / "public"


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    """A shop with a signed note that has an attachment, and a note received from another."""
    shop, other = init_shop(tmp_path / "a", "bench-a"), init_shop(tmp_path / "b", "bench-b")
    prepared = prepare_attachment(CSV, "bars.csv")
    note = make_note("bench-a", "a", attachments=[prepared.attachment])
    add_note(shop, note, [prepared.data])
    assert locate_attachment(shop, note, prepared.attachment).is_file()
    add_note(other, make_note("bench-b", "c"))
    write_bundle(other, select_notes_to_share(other), tmp_path / "b.bundle")
    apply_plan(plan_merge(shop, [read_bundle(tmp_path / "b.bundle")]), accept_new=True)
    return shop
