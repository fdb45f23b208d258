"""Files attached to a note: a caption for each, kept or detached by name."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from pinfolio.loaders.shop.shop_folder import Shop, ShopError
from pinfolio.plugins.notes.attached_files import (
    list_attachments,
    load_kept_attachments,
    prepare_files,
)
from pinfolio.plugins.notes.note_form import BadForm
from pinfolio.schema.note import Note


@pytest.fixture
def traces(tmp_path: Path) -> list[Path]:
    """Two captures of two samples each."""
    paths = [tmp_path / "before.csv", tmp_path / "after.csv"]
    for number, path in enumerate(paths):
        path.write_text(f"time (s),CH1 (V)\n0,{number}\n1e-6,2\n")
    return paths


def test_each_file_gets_its_caption(traces: list[Path]) -> None:
    before, after = list_attachments(prepare_files(traces, ["Before.", ""]))
    assert (before.name, before.caption) == ("before.csv", "Before.")
    assert (after.name, after.caption) == ("after.csv", None)


def test_captions_must_be_as_many_as_files(traces: list[Path]) -> None:
    with pytest.raises(BadForm, match="1 captions do not match 2 attached files"):
        prepare_files(traces, ["Before."])


@pytest.fixture
def noted(note: Callable[..., Note], traces: list[Path]) -> Note:
    """A remark of the shop with both captures attached."""
    attach = [word for path in traces for word in ("--attach", str(path))]
    return note("add", "TQZ5752", "17", "--kind", "remark", "--text", "Seen.", *attach)


def test_attachments_stay_with_their_bytes_unless_detached(shop: Shop, noted: Note) -> None:
    (kept,) = load_kept_attachments(shop, noted, ["before.csv"])
    assert kept.attachment == noted.attachments[1]
    assert kept.data.startswith(b"time (s),CH1 (V)\n0,1\n")


def test_only_an_attached_file_can_be_detached(shop: Shop, noted: Note) -> None:
    message = "'trace.csv' cannot be detached; attached is before.csv, after.csv"
    with pytest.raises(BadForm, match=message):
        load_kept_attachments(shop, noted, ["trace.csv"])


def test_a_lost_attachment_is_named(shop: Shop, noted: Note) -> None:
    for path in shop.folder.rglob("*.csv"):
        path.unlink()
    with pytest.raises(ShopError, match="No such file"):
        load_kept_attachments(shop, noted, [])
