"""Notes, shops and bundles of the tests of merging."""

from __future__ import annotations

from itertools import count
from typing import Any, Final

from pinfolio.loaders.shop.bundle_reading import Bundle, read_bundle
from pinfolio.loaders.shop.bundle_writing import select_notes_to_share, write_bundle
from pinfolio.loaders.shop.merging import apply_plan, plan_merge
from pinfolio.loaders.shop.shop_folder import Shop
from pinfolio.schema.note import Note

_NUMBERS: Final = count()
CSV: Final = b"0,1.5\n1e-6,1.6\n"


def make_note(shop: str, text: str = "Reads so.", name: str = "a", **fields: Any) -> Note:
    usual_fields = {
        "id": f"{name * 8}22334455",
        "kind": "remark",
        "shop": shop,
        "author": shop,
        "date": "2026-11-25",
        "chip": "QZ1000",
        "at": "pin 3",
        "text": text,
    }
    return Note.model_validate(usual_fields | fields)


def share_notes(shop: Shop, **chosen: str) -> Bundle:
    """The notes that the shop would hand to others now."""
    path = shop.folder.parent / f"{shop.handle}-{next(_NUMBERS)}.bundle"
    write_bundle(shop, select_notes_to_share(shop, **chosen), path)
    return read_bundle(path)


def merge_bundle(shop: Shop, *bundles: Bundle) -> None:
    apply_plan(plan_merge(shop, bundles), accept_new=True)


def read_files(shop: Shop) -> dict[str, bytes]:
    """Every file of the folder; the folder that an interrupted merge left behind is none."""
    return {
        str(path.relative_to(shop.folder)): path.read_bytes()
        for path in sorted(shop.folder.rglob("*"))
        if path.is_file() and not path.relative_to(shop.folder).parts[0].startswith(".merging-")
    }
