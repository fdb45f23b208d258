"""Bundles made to do harm, or broken on the way: each is refused, with one clear message."""

from __future__ import annotations

import hashlib
import io
import json
import struct
import tracemalloc
import zipfile
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image
from pinfolio.loaders.keys.signing_key import derive_public_key, sign
from pinfolio.loaders.shop.bundle_reading import BundleError, read_bundle
from pinfolio.loaders.shop.note_files import format_stored_name, sort_notes
from pinfolio.loaders.shop.note_lines import format_lines
from pinfolio.schema.note import Note

KEY = bytes(range(32))
Members = list[tuple[str, bytes]]


def make_note(number: int = 1, **fields: Any) -> Note:
    whole = {
        "id": f"{'abcdefghij'[number % 10]}aaaaaaabbbbbbbb",
        "kind": "remark",
        "shop": "bench-a",
        "author": "anna",
        "date": "2026-11-25",
        "chip": "QZ1000",
        "at": "pin 3",
        "text": f"Note {number}: 10 µF → dry.",
    }
    return Note.model_validate(whole | fields)


def make_attachment(data: bytes, name: str) -> dict[str, str]:
    return {"name": name, "sha256": hashlib.sha256(data).hexdigest()}


def make_picture(sort: str = "PNG") -> bytes:
    file = io.BytesIO()
    Image.new("RGB", (8, 6), (20, 40, 60)).save(file, sort)
    return file.getvalue()


CSV = b"0,1.5\n1e-6,1.6\n"


def make_members(
    notes: Iterable[Note] | bytes = (), *more: tuple[str, bytes], **says: Any
) -> Members:
    """Members of a bundle, rightly signed, whatever they hold; ``says`` changes the manifest."""
    notes = notes if isinstance(notes, bytes) else b"".join(format_lines(sort_notes(notes)))
    rest: Members = [("notes.jsonl", notes), *more]
    manifest = {
        "format": "pinfolio bundle 1",
        "note_format": "pinfolio note 1",
        "shop": "bench-a",
        "public_key": derive_public_key(KEY).hex(),
        "revisions": notes.count(b"\n"),
        "members": [
            {"name": name, "size": len(data), "sha256": hashlib.sha256(data).hexdigest()}
            for name, data in rest
        ],
    }
    said = json.dumps(manifest | says).encode()
    return [("manifest.json", said), ("signature", sign(KEY, said).hex().encode() + b"\n"), *rest]


def zip_members(members: Members, change: Callable[[zipfile.ZipInfo], None] | None = None) -> bytes:
    """The members as a zip; ``change`` is done to the entry of ``notes.jsonl``."""
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        for name, data in members:
            info = zipfile.ZipInfo(name)
            if change is not None and name == "notes.jsonl":
                change(info)
            archive.writestr(info, data)
    return file.getvalue()


def set_to(**values: Any) -> Callable[[zipfile.ZipInfo], None]:
    def change(info: zipfile.ZipInfo) -> None:
        for name, value in values.items():
            setattr(info, name, value)

    return change


def swap_member(members: Members, name: str, data: bytes) -> Members:
    return [(other, data if other == name else held) for other, held in members]


GOOD = make_members([make_note()])
NO_PNG = b"GIF89a not a picture"
SVG = b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>"


def add_attachment(data: bytes, ending: str) -> Members:
    note = make_note(attachments=[make_attachment(data, f"x.{ending}")])
    return make_members([note], (f"attachments/{format_stored_name(note.attachments[0])}", data))


def make_listing(count: int, size: int) -> bytes:
    """A zip's end that promises ``count`` members listed in ``size`` bytes."""
    return bytes(size) + struct.pack("<4s4H2LH", b"PK\x05\x06", 0, 0, count, count, size, 0, 0)


HOSTILE: dict[str, tuple[bytes, str]] = {
    "empty": (b"", "no zip file"),
    "a text": (b"hello " * 100, "no zip file"),
    "cut short": (zip_members(GOOD)[:-30], "no zip file"),
    "more behind it": (zip_members(GOOD) + b"x", "it is no zip file, or bytes follow it"),
    "more before it": (b"#!/bin/sh\n" + zip_members(GOOD), "belong to no member"),
    "a comment": (zip_members(GOOD)[:-2] + b"\x01\x00x", "no zip file"),
    "64 bit records": (
        zip_members(GOOD)[:-22] + b"PK\x06\x07" + bytes(16) + zip_members(GOOD)[-22:],
        "of 64 bits",
    ),
    "ten million members": (make_listing(65_535, 1000), "65,535 members; a bundle has at most"),
    "a list of members too long": (make_listing(3, 10_000_000), "a bundle has at most"),
    "compressed": (
        zip_members(GOOD, set_to(compress_type=zipfile.ZIP_DEFLATED)),
        "'notes.jsonl' is compressed",
    ),
    "a bomb": (
        zip_members(make_members(b" " * 50_000_000), set_to(compress_type=zipfile.ZIP_DEFLATED)),
        "'notes.jsonl' is compressed",
    ),
    "a link": (zip_members(GOOD, set_to(external_attr=0o120777 << 16)), "is a link, not a file"),
    "a way out": (zip_members([*GOOD, ("../../x", b"")]), "'../../x' is no member of a bundle"),
    "an absolute name": (zip_members([*GOOD, ("/etc/x", b"")]), "'/etc/x' is no member"),
    "a drive": (zip_members([*GOOD, ("C:\\x", b"")]), "is no member of a bundle"),
    "a folder": (zip_members([*GOOD, ("attachments/", b"")]), "'attachments/' is no member"),
    "a name to the terminal": (zip_members([*GOOD, ("\x1b[2J", b"")]), r"'\\x1b\[2J' is no member"),
    "a script": (
        zip_members([*GOOD, (f"attachments/{'a' * 64}.svg", SVG)]),
        "is no member of a bundle",
    ),
    "no manifest": (zip_members(GOOD[1:]), "'manifest.json' is missing"),
    "no signature": (zip_members([GOOD[0], *GOOD[2:]]), "'signature' is missing"),
    "no notes": (zip_members(GOOD[:2]), "'notes.jsonl' is missing"),
    "another order": (zip_members(GOOD[::-1]), "out of order"),
    "a manifest too large": (
        zip_members(swap_member(GOOD, "manifest.json", b" " * 500_000)),
        "at most",
    ),
    "notes too large": (zip_members(make_members(b" " * 64_000_001)), "at most 64,000,000"),
    "a manifest that is no JSON": (
        zip_members(swap_member(GOOD, "manifest.json", b"{")),
        "is not JSON",
    ),
    "a manifest nested deep": (
        zip_members(swap_member(GOOD, "manifest.json", b"[" * 100_000)),
        "is not JSON",
    ),
    "a manifest that is a list": (
        zip_members(swap_member(GOOD, "manifest.json", b"[]")),
        "its format is",
    ),
    "a bundle of the future": (
        zip_members(make_members([make_note()], format="pinfolio bundle 3")),
        "its format is 'pinfolio bundle 3', this pinfolio reads 'pinfolio bundle 1' and"
        " 'pinfolio bundle 2': a newer one may read it",
    ),
    "a format without its statements": (
        zip_members(make_members([make_note()], format="pinfolio bundle 2")),
        "'keys.jsonl' and shop_key belong to format 'pinfolio bundle 2' only",
    ),
    "notes of the future": (
        zip_members(make_members([make_note()], note_format="pinfolio note 2")),
        "its note_format is 'pinfolio note 2'",
    ),
    "a manifest that says more": (
        zip_members(make_members([make_note()], more=1)),
        "faulty at more",
    ),
    "a handle that is none": (
        zip_members(make_members([make_note()], shop="../x")),
        "faulty at shop",
    ),
    "a signature cut short": (
        zip_members(swap_member(GOOD, "signature", b"00\n")),
        "hexadecimal digits",
    ),
    "a wrong signature": (
        zip_members(swap_member(GOOD, "signature", b"00" * 64 + b"\n")),
        "its signature is wrong",
    ),
    "another's key": (
        zip_members(make_members([make_note()], public_key=derive_public_key(bytes(32)).hex())),
        "its signature is wrong",
    ),
    "another manifest": (
        zip_members(swap_member(GOOD, "manifest.json", make_members([make_note(2)])[0][1])),
        "its signature is wrong",
    ),
    "other notes": (
        zip_members(swap_member(GOOD, "notes.jsonl", make_members([make_note(2)])[2][1])),
        "its digest is wrong",
    ),
    "a member not listed": (
        zip_members([*GOOD, (f"attachments/{'a' * 64}.csv", CSV)]),
        "not those that its manifest lists",
    ),
    "a listed member missing": (zip_members(add_attachment(CSV, "csv")[:3]), "not those that its"),
    "a note of another shop": (
        zip_members(make_members([make_note(shop="bench-b")])),
        "is by bench-b, not by",
    ),
    "more notes than written": (
        zip_members(make_members([make_note()], revisions=0)),
        "1 revisions, but",
    ),
    "a note twice": (zip_members(make_members(GOOD[2][1] * 2)), "out of its place, or twice"),
    "a note that is none": (zip_members(make_members(b'{"id":"x"}\n')), "a faulty note"),
    "control characters": (
        zip_members(make_members(GOOD[2][1].replace(b"dry", b"\\u001b[2J"))),
        "text holds the control character",
    ),
    "another spelling": (
        zip_members(make_members(GOOD[2][1].replace(b"dry", b"\\u0064ry"))),
        "spelling",
    ),
    "a picture that is none": (
        zip_members(add_attachment(NO_PNG, "png")),
        "not a sound PNG picture",
    ),
    "a script as a picture": (zip_members(add_attachment(SVG, "png")), "not a sound PNG picture"),
    "a PNG called jpg": (
        zip_members(add_attachment(make_picture(), "jpg")),
        "not a sound JPEG picture",
    ),
    "half a picture": (
        zip_members(add_attachment(make_picture()[:-30], "png")),
        "not a sound PNG picture",
    ),
    "a program as samples": (
        zip_members(add_attachment(b"\x7fELF\x00", "csv")),
        "control characters",
    ),
    "samples that are no text": (
        zip_members(add_attachment(b"\xff\xfe", "csv")),
        "not a text file",
    ),
    "an attachment too large": (zip_members(add_attachment(b"1\n" * 2_100_000, "csv")), "at most"),
    "an attachment nobody names": (
        zip_members(
            make_members([make_note()], (f"attachments/{hashlib.sha256(CSV).hexdigest()}.csv", CSV))
        ),
        "which no note names",
    ),
    "an attachment missing": (
        zip_members(make_members([make_note(attachments=[make_attachment(CSV, "x.csv")])])),
        "which is missing",
    ),
    "an attachment under another's digest": (
        zip_members(
            make_members(
                [make_note(attachments=[make_attachment(CSV, "x.csv")])],
                (f"attachments/{hashlib.sha256(CSV).hexdigest()}.csv", CSV + b"2,3\n"),
            )
        ),
        "not named by its own digest",
    ),
}


class TestHostile:
    def test_the_good_one_they_all_come_from_is_read(self, tmp_path: Path) -> None:
        (tmp_path / "x").write_bytes(zip_members(GOOD))
        assert read_bundle(tmp_path / "x").notes == (make_note(),)

    @pytest.mark.parametrize("ending", ["png", "jpg", "csv"])
    def test_attachments_that_are_what_they_say_are_read(self, ending: str, tmp_path: Path) -> None:
        data = {"png": make_picture(), "jpg": make_picture("JPEG"), "csv": CSV}[ending]
        (tmp_path / "x").write_bytes(zip_members(add_attachment(data, ending)))
        assert len(read_bundle(tmp_path / "x").manifest.members) == 2

    @pytest.mark.parametrize(("data", "message"), HOSTILE.values(), ids=HOSTILE)
    def test_it_is_refused_with_one_clear_message(
        self, data: bytes, message: str, tmp_path: Path
    ) -> None:
        path = tmp_path / "hostile.bundle"
        path.write_bytes(data)
        with pytest.raises(BundleError, match=message) as refused:
            read_bundle(path)
        assert str(refused.value).startswith(f"{path}: ")
        assert str(refused.value).isprintable()
        assert len(str(refused.value)) < 400
        assert list(tmp_path.iterdir()) == [path]

    def test_a_member_twice_is_refused(self, tmp_path: Path) -> None:
        with pytest.warns(UserWarning, match="Duplicate name"):
            data = zip_members([*GOOD, GOOD[2]])
        (tmp_path / "x").write_bytes(data)
        with pytest.raises(BundleError, match=r"'notes\.jsonl' is in it twice"):
            read_bundle(tmp_path / "x")

    def test_a_picture_of_a_billion_points_is_refused_undecoded(self, tmp_path: Path) -> None:
        data = bytearray(make_picture())
        data[16:24] = struct.pack(">2I", 32_000, 32_000)  # IHDR: PNG specification, 11.2.1
        data[29:33] = struct.pack(">I", _compute_crc(bytes(data[12:29])))
        (tmp_path / "x").write_bytes(zip_members(add_attachment(bytes(data), "png")))
        with pytest.raises(BundleError, match=r"not a sound PNG picture|32000 by 32000 pixels"):
            read_bundle(tmp_path / "x")

    def test_ten_million_notes_are_refused_unread(self, tmp_path: Path) -> None:
        (tmp_path / "x").write_bytes(zip_members(make_members(b"{}\n" * 10_000_000)))
        with pytest.raises(BundleError, match="10,000,000 notes; a bundle has at most 100,000"):
            read_bundle(tmp_path / "x")

    def test_a_file_of_a_gigabyte_is_refused_unread(self, tmp_path: Path) -> None:
        with (tmp_path / "x").open("wb") as file:
            file.truncate(2**30)
        tracemalloc.start()
        with pytest.raises(BundleError, match="1,073,741,824 bytes"):
            read_bundle(tmp_path / "x")
        _, peak = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        assert peak < 1_000_000

    @pytest.mark.parametrize("name", [".", "none"])
    def test_what_is_no_file_is_refused(self, name: str, tmp_path: Path) -> None:
        with pytest.raises(BundleError, match=r"not a file|no such file"):
            read_bundle(tmp_path / name)


class TestFuzzed:
    @settings(
        suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=300, deadline=None
    )
    @given(chosen=st.data())
    def test_changed_bytes_are_refused_or_change_nothing(
        self, chosen: st.DataObject, tmp_path: Path
    ) -> None:
        changed = bytearray(zip_members(add_attachment(CSV, "csv")))
        for _ in range(chosen.draw(st.integers(1, 4))):
            place = chosen.draw(st.integers(0, len(changed) - 1))
            cut = chosen.draw(st.integers(0, 8))
            changed[place : place + cut] = chosen.draw(st.binary(max_size=8))
        (tmp_path / "x").write_bytes(changed)
        try:
            notes = read_bundle(tmp_path / "x").notes
        except BundleError:
            return
        assert notes == (make_note(attachments=[make_attachment(CSV, "x.csv")]),)

    @settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
    @given(
        data=st.binary(max_size=300),
        name=st.sampled_from(["manifest.json", "signature", "notes.jsonl"]),
    )
    def test_any_bytes_for_a_member_are_refused(
        self, data: bytes, name: str, tmp_path: Path
    ) -> None:
        (tmp_path / "x").write_bytes(zip_members(swap_member(GOOD, name, data)))
        with pytest.raises(BundleError):
            read_bundle(tmp_path / "x")

    @settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
    @given(data=st.binary(max_size=300))
    def test_any_notes_a_shop_may_sign_are_refused(self, data: bytes, tmp_path: Path) -> None:
        (tmp_path / "x").write_bytes(zip_members(make_members(data)))
        if data:
            with pytest.raises(BundleError):
                read_bundle(tmp_path / "x")


def _compute_crc(data: bytes) -> int:
    return zipfile.crc32(data)  # type: ignore[attr-defined]
