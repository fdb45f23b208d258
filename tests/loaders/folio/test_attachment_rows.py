"""Attachments in a folio: their bytes, stored once each and unchanged."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

import pytest
import sqlite_utils
from PIL import Image
from pinfolio.loaders.chip_files.chip_file import chip_to_yaml
from pinfolio.loaders.errors import Fault
from pinfolio.loaders.folio.build import build_folio, build_from_chips
from pinfolio.loaders.folio.folio import open_folio
from pinfolio.loaders.shop.attachment_check import MOST_BYTES
from pinfolio.loaders.shop.attachments import PreparedAttachment, prepare_attachment
from pinfolio.loaders.shop.note_files import (
    NoteFileError,
    add_note,
    format_note,
    format_stored_name,
    locate_attachment,
)
from pinfolio.loaders.shop.shop_folder import Shop, init_shop
from pinfolio.schema import Chip
from pinfolio.schema.note import Note

ChipMaker = Callable[..., Chip]

CSV = b"time (s),CH1 (V)\n" + b"".join(b"%de-6,%d\n" % (n, n % 2) for n in range(64))


def make_picture(sort: str) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (40, 20), "red").save(out, sort)
    return out.getvalue()


CAPTURE = prepare_attachment(CSV, "reset.csv", "Reset pulse")
DRAWING = prepare_attachment(make_picture("PNG"), "joint.png")
PHOTOGRAPH = prepare_attachment(make_picture("JPEG"), "board.jpg")


def note(letter: str, *attached: PreparedAttachment, **more: object) -> Note:
    fields: dict[str, object] = {"id": letter * 16, "kind": "remark", "shop": "bench-one"}
    fields |= {"author": "ann", "date": "2026-02-03", "chip": "AB12", "at": "pin 1"}
    fields |= {"text": "Look.", "attachments": [each.attachment for each in attached]}
    return Note.model_validate(fields | more)


@pytest.fixture
def shop(tmp_path: Path, invented_chip: ChipMaker) -> Shop:
    made = init_shop(tmp_path / "shop", "bench-one")
    (made.chips / "ab12.yaml").write_text(chip_to_yaml(invented_chip("AB12")), encoding="utf-8")
    return made


def keep(shop: Shop, letter: str, *attached: PreparedAttachment) -> Note:
    kept = note(letter, *attached)
    add_note(shop, kept, [each.data for each in attached])
    return kept


def test_the_bytes_of_a_shops_attachments_are_in_its_folio(shop: Shop, tmp_path: Path) -> None:
    keep(shop, "a", CAPTURE, DRAWING, PHOTOGRAPH)
    keep(shop, "b", DRAWING)
    build_folio([shop.folder], tmp_path / "folio.db")
    with open_folio(tmp_path / "folio.db") as folio:
        for each, media in ((CAPTURE, "text/csv"), (DRAWING, "image/png"),
                            (PHOTOGRAPH, "image/jpeg")):  # fmt: skip
            found = folio.attachment(each.attachment.sha256)
            assert found is not None
            assert (found.media, found.data) == (media, each.data)
        digests = [each.attachment.sha256 for each in (CAPTURE, DRAWING)]
        sizes = folio.attachment_sizes([*digests, "0" * 64])
        assert sizes == {digests[0]: None, digests[1]: (40, 20)}
        assert folio.attachment("0" * 64) is None
    assert sqlite_utils.Database(tmp_path / "folio.db").table("attachment").count == 3


def test_those_of_another_shop_come_from_where_merging_put_them(shop: Shop, tmp_path: Path) -> None:
    sent = note("c", DRAWING, shop="bench-two")
    path = locate_attachment(shop, sent, DRAWING.attachment)
    path.parent.mkdir(parents=True)
    path.write_bytes(DRAWING.data)
    (path.parent.parent / "notes.jsonl").write_text(sent.document() + "\n", encoding="utf-8")
    build_folio([shop.folder], tmp_path / "folio.db")
    with open_folio(tmp_path / "folio.db") as folio:
        assert folio.attachment(DRAWING.attachment.sha256) is not None


def test_a_folder_of_notes_has_them_beside(tmp_path: Path, invented_chip: ChipMaker) -> None:
    notes = tmp_path / "notes"
    (notes / "attachments").mkdir(parents=True)
    (tmp_path / "ab12.yaml").write_text(chip_to_yaml(invented_chip("AB12")), encoding="utf-8")
    (notes / "a.yaml").write_text(format_note(note("a", DRAWING)), encoding="utf-8")
    (notes / "attachments" / format_stored_name(DRAWING.attachment)).write_bytes(DRAWING.data)
    whole = build_folio([tmp_path], tmp_path / "folio.db")
    by_name = build_folio([tmp_path / "ab12.yaml", notes / "a.yaml"], tmp_path / "by.db")
    assert by_name.digest == whole.digest
    with open_folio(tmp_path / "by.db") as folio:
        assert folio.attachment(DRAWING.attachment.sha256) is not None


def test_what_only_an_older_revision_names_is_left_out(shop: Shop, tmp_path: Path) -> None:
    first = keep(shop, "a", DRAWING)
    add_note(shop, note("a", follows=[first.digest], text="Without the picture."))
    build_folio([shop.folder], tmp_path / "folio.db")
    with open_folio(tmp_path / "folio.db") as folio:
        assert folio.attachment(DRAWING.attachment.sha256) is None


@pytest.mark.parametrize(
    ("bytes_there", "found"),
    [
        (None, "no such file"),
        (DRAWING.data + b"!", "bytes changed since"),
        (b"", "bytes changed since"),
        (b"x" * (MOST_BYTES + 1), "more than 4,000,000 bytes"),
    ],
)
def test_a_missing_or_wrong_file_is_one_fault_that_names_it(
    shop: Shop, tmp_path: Path, bytes_there: bytes | None, found: str
) -> None:
    kept = keep(shop, "a", DRAWING)
    keep(shop, "b", DRAWING, CAPTURE)
    path = locate_attachment(shop, kept, DRAWING.attachment)
    path.unlink()
    if bytes_there is not None:
        path.write_bytes(bytes_there)
    with pytest.raises(NoteFileError) as refused:
        build_folio([shop.folder], tmp_path / "folio.db")
    (fault,) = refused.value.faults
    assert (fault.file, found in fault.found) == (str(path), True)
    assert fault.expected.startswith("the attachment joint.png of note ")
    assert list(tmp_path.glob("*folio.db*")) == []


def test_a_build_goes_on_without_a_missing_file_when_it_can_report_it(
    shop: Shop, tmp_path: Path
) -> None:
    lost, kept = keep(shop, "a", DRAWING), keep(shop, "b", CAPTURE)
    locate_attachment(shop, lost, DRAWING.attachment).unlink()
    set_aside: list[Fault] = []
    info = build_folio([shop.folder], tmp_path / "folio.db", set_aside=set_aside)
    assert (info.notes, [fault.found for fault in set_aside]) == (2, ["no such file or directory"])
    with open_folio(tmp_path / "folio.db") as folio:
        assert folio.attachment(kept.attachments[0].sha256) is not None


def test_a_picture_that_is_none_is_refused_though_its_digest_fits(
    shop: Shop, tmp_path: Path
) -> None:
    posing = PreparedAttachment(
        CAPTURE.attachment.model_copy(update={"name": "reset.png"}), CAPTURE.data
    )
    keep(shop, "a", posing)
    told = "not a sound PNG picture: expected the attachment reset.png of note a+; save it again$"
    with pytest.raises(NoteFileError, match=told):
        build_folio([shop.folder], tmp_path / "folio.db")


def test_the_digest_covers_them(tmp_path: Path, invented_chip: ChipMaker) -> None:
    path = tmp_path / format_stored_name(DRAWING.attachment)
    path.write_bytes(DRAWING.data)
    chips, notes = [invented_chip("AB12")], [note("a", DRAWING)]
    without = build_from_chips(chips, tmp_path / "folio.db", notes=notes)
    whole = build_from_chips(
        chips, tmp_path / "folio.db", notes=notes, attachments={path.name: path}
    )
    assert whole.digest != without.digest
