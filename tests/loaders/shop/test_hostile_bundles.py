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
from pinfolio.loaders.shop.bundle_reading import BundleError, read_bundle
from pinfolio.loaders.shop.note_files import format_stored_name, sort_notes
from pinfolio.loaders.shop.note_lines import format_lines
from pinfolio.loaders.shop.signing_key import derive_public_key, sign
from pinfolio.schema.note import Note

KEY = bytes(range(32))
Members = list[tuple[str, bytes]]


def made(number: int = 1, **fields: Any) -> Note:
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


def attached(data: bytes, name: str) -> dict[str, str]:
    return {"name": name, "sha256": hashlib.sha256(data).hexdigest()}


def picture(sort: str = "PNG") -> bytes:
    file = io.BytesIO()
    Image.new("RGB", (8, 6), (20, 40, 60)).save(file, sort)
    return file.getvalue()


CSV = b"0,1.5\n1e-6,1.6\n"


def content(notes: Iterable[Note] | bytes = (), *more: tuple[str, bytes], **says: Any) -> Members:
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


def zipped(members: Members, change: Callable[[zipfile.ZipInfo], None] | None = None) -> bytes:
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


def swapped(members: Members, name: str, data: bytes) -> Members:
    return [(other, data if other == name else held) for other, held in members]


GOOD = content([made()])
NO_PNG = b"GIF89a not a picture"
SVG = b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>"


def with_attachment(data: bytes, ending: str) -> Members:
    note = made(attachments=[attached(data, f"x.{ending}")])
    return content([note], (f"attachments/{format_stored_name(note.attachments[0])}", data))


def listing(count: int, size: int) -> bytes:
    """A zip's end that promises ``count`` members listed in ``size`` bytes."""
    return bytes(size) + struct.pack("<4s4H2LH", b"PK\x05\x06", 0, 0, count, count, size, 0, 0)


HOSTILE: dict[str, tuple[bytes, str]] = {
    "empty": (b"", "no zip file"),
    "a text": (b"hello " * 100, "no zip file"),
    "cut short": (zipped(GOOD)[:-30], "no zip file"),
    "more behind it": (zipped(GOOD) + b"x", "it is no zip file, or bytes follow it"),
    "more before it": (b"#!/bin/sh\n" + zipped(GOOD), "belong to no member"),
    "a comment": (zipped(GOOD)[:-2] + b"\x01\x00x", "no zip file"),
    "64 bit records": (
        zipped(GOOD)[:-22] + b"PK\x06\x07" + bytes(16) + zipped(GOOD)[-22:],
        "of 64 bits",
    ),
    "ten million members": (listing(65_535, 1000), "65,535 members; a bundle has at most"),
    "a list of members too long": (listing(3, 10_000_000), "a bundle has at most"),
    "compressed": (
        zipped(GOOD, set_to(compress_type=zipfile.ZIP_DEFLATED)),
        "'notes.jsonl' is compressed",
    ),
    "a bomb": (
        zipped(content(b" " * 50_000_000), set_to(compress_type=zipfile.ZIP_DEFLATED)),
        "'notes.jsonl' is compressed",
    ),
    "a link": (zipped(GOOD, set_to(external_attr=0o120777 << 16)), "is a link, not a file"),
    "a way out": (zipped([*GOOD, ("../../x", b"")]), "'../../x' is no member of a bundle"),
    "an absolute name": (zipped([*GOOD, ("/etc/x", b"")]), "'/etc/x' is no member"),
    "a drive": (zipped([*GOOD, ("C:\\x", b"")]), "is no member of a bundle"),
    "a folder": (zipped([*GOOD, ("attachments/", b"")]), "'attachments/' is no member"),
    "a name to the terminal": (zipped([*GOOD, ("\x1b[2J", b"")]), r"'\\x1b\[2J' is no member"),
    "a script": (zipped([*GOOD, (f"attachments/{'a' * 64}.svg", SVG)]), "is no member of a bundle"),
    "no manifest": (zipped(GOOD[1:]), "'manifest.json' is missing"),
    "no signature": (zipped([GOOD[0], *GOOD[2:]]), "'signature' is missing"),
    "no notes": (zipped(GOOD[:2]), "'notes.jsonl' is missing"),
    "another order": (zipped(GOOD[::-1]), "out of order"),
    "a manifest too large": (zipped(swapped(GOOD, "manifest.json", b" " * 500_000)), "at most"),
    "notes too large": (zipped(content(b" " * 64_000_001)), "at most 64,000,000"),
    "a manifest that is no JSON": (zipped(swapped(GOOD, "manifest.json", b"{")), "is not JSON"),
    "a manifest nested deep": (
        zipped(swapped(GOOD, "manifest.json", b"[" * 100_000)),
        "is not JSON",
    ),
    "a manifest that is a list": (zipped(swapped(GOOD, "manifest.json", b"[]")), "its format is"),
    "a bundle of the future": (
        zipped(content([made()], format="pinfolio bundle 2")),
        "its format is 'pinfolio bundle 2', this pinfolio reads 'pinfolio bundle 1'",
    ),
    "notes of the future": (
        zipped(content([made()], note_format="pinfolio note 2")),
        "its note_format is 'pinfolio note 2'",
    ),
    "a manifest that says more": (zipped(content([made()], more=1)), "faulty at more"),
    "a handle that is none": (zipped(content([made()], shop="../x")), "faulty at shop"),
    "a signature cut short": (zipped(swapped(GOOD, "signature", b"00\n")), "hexadecimal digits"),
    "a wrong signature": (
        zipped(swapped(GOOD, "signature", b"00" * 64 + b"\n")),
        "its signature is wrong",
    ),
    "another's key": (
        zipped(content([made()], public_key=derive_public_key(bytes(32)).hex())),
        "its signature is wrong",
    ),
    "another manifest": (
        zipped(swapped(GOOD, "manifest.json", content([made(2)])[0][1])),
        "its signature is wrong",
    ),
    "other notes": (
        zipped(swapped(GOOD, "notes.jsonl", content([made(2)])[2][1])),
        "its digest is wrong",
    ),
    "a member not listed": (
        zipped([*GOOD, (f"attachments/{'a' * 64}.csv", CSV)]),
        "not those that its manifest lists",
    ),
    "a listed member missing": (zipped(with_attachment(CSV, "csv")[:3]), "not those that its"),
    "a note of another shop": (zipped(content([made(shop="bench-b")])), "is by bench-b, not by"),
    "more notes than written": (
        zipped(content([made()], revisions=0)),
        "1 revisions, but",
    ),
    "a note twice": (zipped(content(GOOD[2][1] * 2)), "out of its place, or twice"),
    "a note that is none": (zipped(content(b'{"id":"x"}\n')), "a faulty note"),
    "control characters": (
        zipped(content(GOOD[2][1].replace(b"dry", b"\\u001b[2J"))),
        "text holds the control character",
    ),
    "another spelling": (zipped(content(GOOD[2][1].replace(b"dry", b"\\u0064ry"))), "spelling"),
    "a picture that is none": (zipped(with_attachment(NO_PNG, "png")), "not a sound PNG picture"),
    "a script as a picture": (zipped(with_attachment(SVG, "png")), "not a sound PNG picture"),
    "a PNG called jpg": (zipped(with_attachment(picture(), "jpg")), "not a sound JPEG picture"),
    "half a picture": (zipped(with_attachment(picture()[:-30], "png")), "not a sound PNG picture"),
    "a program as samples": (zipped(with_attachment(b"\x7fELF\x00", "csv")), "control characters"),
    "samples that are no text": (zipped(with_attachment(b"\xff\xfe", "csv")), "not a text file"),
    "an attachment too large": (zipped(with_attachment(b"1\n" * 2_100_000, "csv")), "at most"),
    "an attachment nobody names": (
        zipped(content([made()], (f"attachments/{hashlib.sha256(CSV).hexdigest()}.csv", CSV))),
        "which no note names",
    ),
    "an attachment missing": (
        zipped(content([made(attachments=[attached(CSV, "x.csv")])])),
        "which is missing",
    ),
    "an attachment under another's digest": (
        zipped(
            content(
                [made(attachments=[attached(CSV, "x.csv")])],
                (f"attachments/{hashlib.sha256(CSV).hexdigest()}.csv", CSV + b"2,3\n"),
            )
        ),
        "not named by its own digest",
    ),
}


class TestHostile:
    def test_the_good_one_they_all_come_from_is_read(self, tmp_path: Path) -> None:
        (tmp_path / "x").write_bytes(zipped(GOOD))
        assert read_bundle(tmp_path / "x").notes == (made(),)

    @pytest.mark.parametrize("ending", ["png", "jpg", "csv"])
    def test_attachments_that_are_what_they_say_are_read(self, ending: str, tmp_path: Path) -> None:
        data = {"png": picture(), "jpg": picture("JPEG"), "csv": CSV}[ending]
        (tmp_path / "x").write_bytes(zipped(with_attachment(data, ending)))
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
            data = zipped([*GOOD, GOOD[2]])
        (tmp_path / "x").write_bytes(data)
        with pytest.raises(BundleError, match=r"'notes\.jsonl' is in it twice"):
            read_bundle(tmp_path / "x")

    def test_a_picture_of_a_billion_points_is_refused_undecoded(self, tmp_path: Path) -> None:
        data = bytearray(picture())
        data[16:24] = struct.pack(">2I", 32_000, 32_000)  # IHDR: PNG specification, 11.2.1
        data[29:33] = struct.pack(">I", _crc(bytes(data[12:29])))
        (tmp_path / "x").write_bytes(zipped(with_attachment(bytes(data), "png")))
        with pytest.raises(BundleError, match=r"not a sound PNG picture|32000 by 32000 pixels"):
            read_bundle(tmp_path / "x")

    def test_ten_million_notes_are_refused_unread(self, tmp_path: Path) -> None:
        (tmp_path / "x").write_bytes(zipped(content(b"{}\n" * 10_000_000)))
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
        changed = bytearray(zipped(with_attachment(CSV, "csv")))
        for _ in range(chosen.draw(st.integers(1, 4))):
            place = chosen.draw(st.integers(0, len(changed) - 1))
            cut = chosen.draw(st.integers(0, 8))
            changed[place : place + cut] = chosen.draw(st.binary(max_size=8))
        (tmp_path / "x").write_bytes(changed)
        try:
            notes = read_bundle(tmp_path / "x").notes
        except BundleError:
            return
        assert notes == (made(attachments=[attached(CSV, "x.csv")]),)

    @settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
    @given(
        data=st.binary(max_size=300),
        name=st.sampled_from(["manifest.json", "signature", "notes.jsonl"]),
    )
    def test_any_bytes_for_a_member_are_refused(
        self, data: bytes, name: str, tmp_path: Path
    ) -> None:
        (tmp_path / "x").write_bytes(zipped(swapped(GOOD, name, data)))
        with pytest.raises(BundleError):
            read_bundle(tmp_path / "x")

    @settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
    @given(data=st.binary(max_size=300))
    def test_any_notes_a_shop_may_sign_are_refused(self, data: bytes, tmp_path: Path) -> None:
        (tmp_path / "x").write_bytes(zipped(content(data)))
        if data:
            with pytest.raises(BundleError):
                read_bundle(tmp_path / "x")


def _crc(data: bytes) -> int:
    return zipfile.crc32(data)  # type: ignore[attr-defined]
