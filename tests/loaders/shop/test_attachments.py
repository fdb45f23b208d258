"""Attachments of a note: captures and pictures, rewritten without their metadata."""

from __future__ import annotations

import hashlib
import io
import struct
import wave
import zlib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from PIL import Image
from PIL.PngImagePlugin import PngInfo
from pinfolio.loaders.captures.capture_file import read_capture
from pinfolio.loaders.shop.attachment_check import AttachmentError, check_attachment
from pinfolio.loaders.shop.attachments import (
    LONGEST_SIDE,
    MOST_GIVEN_BYTES,
    prepare_attached_file,
    prepare_attachment,
)

# Exif 2.32, table 4 and tag 0x0112: the tags used here.
MAKE, ORIENTATION, SERIAL = 0x010F, 0x0112, 0xA431
ROTATED_BY_90 = 6  # the 0th row is the visual right-hand side


def make_picture(sort: str, size: tuple[int, int] = (40, 20), **more: object) -> bytes:
    """Left half red, right half blue."""
    made = Image.new("RGB", size, "red")
    made.paste("blue", (size[0] // 2, 0, *size))
    out = io.BytesIO()
    made.save(out, sort, **more)
    return out.getvalue()


def open_picture(data: bytes) -> Image.Image:
    return Image.open(io.BytesIO(data))


class TestPictures:
    def test_a_photograph_loses_what_the_camera_wrote(self) -> None:
        exif = Image.Exif()
        exif[MAKE], exif[SERIAL] = "Invented Cameras", "SN-0042-7777"
        exif.get_ifd(0x8825)[1] = "N"  # GPS
        taken = make_picture(
            "JPEG", exif=exif, comment=b"at Anna's", icc_profile=b"profile of Anna"
        )
        kept = prepare_attachment(taken, "DSC 0042.JPEG")
        assert b"SN-0042" in taken
        for word in (b"Exif", b"SN-0042", b"Invented", b"Anna", b"ICC_PROFILE"):
            assert word not in kept.data
        assert kept.attachment.name == "DSC-0042.jpg"
        assert dict(open_picture(kept.data).getexif()) == {}

    def test_a_drawing_loses_its_texts(self) -> None:
        texts = PngInfo()
        texts.add_text("Author", "Anna")
        texts.add_itxt("XML:com.adobe.xmp", "<x>Anna</x>")
        kept = prepare_attachment(make_picture("PNG", pnginfo=texts, dpi=(72, 72)), "screen.png")
        assert b"Anna" not in kept.data
        chunks = {kept.data[at + 4 : at + 8] for at in list_chunk_places(kept.data)}
        assert chunks == {b"IHDR", b"IDAT", b"IEND"}

    def test_its_pixels_stay(self) -> None:
        kept = open_picture(prepare_attachment(make_picture("PNG"), "screen.png").data)
        assert kept.getpixel((1, 1)) == (255, 0, 0)
        assert kept.getpixel((38, 1)) == (0, 0, 255)

    def test_a_photograph_taken_sideways_is_turned_upright(self) -> None:
        exif = Image.Exif()
        exif[ORIENTATION] = ROTATED_BY_90
        kept = open_picture(prepare_attachment(make_picture("JPEG", exif=exif), "a.jpg").data)
        assert kept.size == (20, 40)
        top, bottom = kept.getpixel((10, 2)), kept.getpixel((10, 37))
        assert isinstance(top, tuple)
        assert isinstance(bottom, tuple)
        assert top[0] > 200 > 50 > top[2]
        assert bottom[2] > 200 > 50 > bottom[0]

    def test_what_is_seen_through_stays_so(self) -> None:
        out = io.BytesIO()
        Image.new("LA", (3, 3), (10, 0)).save(out, "PNG")
        assert open_picture(prepare_attachment(out.getvalue(), "a.png").data).getpixel((1, 1)) == (
            10,
            10,
            10,
            0,
        )

    @pytest.mark.parametrize("sort", ["JPEG", "PNG"])
    def test_a_large_one_is_made_smaller_in_its_proportions(self, sort: str) -> None:
        kept = open_picture(prepare_attachment(make_picture(sort, (4000, 1000)), "a.png").data)
        assert kept.size == (LONGEST_SIDE, LONGEST_SIDE // 4)

    def test_the_ending_follows_what_it_is(self) -> None:
        assert prepare_attachment(make_picture("JPEG"), "a.png").attachment.name == "a.jpg"

    @pytest.mark.parametrize("sort", ["JPEG", "PNG"])
    def test_what_was_prepared_is_taken_from_other_shops(self, sort: str) -> None:
        kept = prepare_attachment(make_picture(sort), "a.png")
        check_attachment(kept.data, kept.attachment.name.rpartition(".")[2])
        assert kept.attachment.sha256 == hashlib.sha256(kept.data).hexdigest()

    @pytest.mark.parametrize(
        "data",
        [
            b"",
            b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>",
            b"\x89PNG\r\n\x1a\n" + b"\0" * 40,
            make_picture("JPEG")[:200],
            make_picture("GIF"),
            make_picture("BMP"),
            make_picture("TIFF"),
        ],
        ids=["empty", "svg", "png head", "cut short", "gif", "bmp", "tiff"],
    )
    def test_what_is_no_picture_is_refused(self, data: bytes) -> None:
        with pytest.raises(AttachmentError, match=r"^a\.png: not a sound PNG or JPEG picture"):
            prepare_attachment(data, "a.png")

    def test_one_that_unfolds_to_very_many_pixels_is_refused_before_it_does(self) -> None:
        with pytest.raises(AttachmentError, match="30000 by 2500 pixels is too large"):
            prepare_attachment(make_png_head(30_000, 2_500), "a.png")
        with pytest.raises(AttachmentError, match="not a sound PNG or JPEG picture"):
            prepare_attachment(make_png_head(100_000, 100_000), "a.png")

    @settings(max_examples=40)  # each is decoded in a process of its own
    @given(
        st.binary(max_size=300), st.sampled_from([b"", b"\xff\xd8\xff", make_picture("PNG")[:60]])
    )
    def test_bytes_of_any_sort_are_an_attachment_or_refused(self, data: bytes, head: bytes) -> None:
        try:
            kept = prepare_attachment(head + data, "a.png")
        except AttachmentError:
            return
        check_attachment(kept.data, kept.attachment.name.rpartition(".")[2])


def list_chunk_places(data: bytes) -> list[int]:
    """Where the chunks of a PNG begin (PNG specification, section 5.3)."""
    places, at = [], 8
    while at < len(data):
        places.append(at)
        at += 12 + int.from_bytes(data[at : at + 4], "big")
    return places


def make_png_head(width: int, height: int) -> bytes:
    """A PNG that says it is of this size (PNG specification, section 11.2.2)."""

    def chunk(sort: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + sort + data + struct.pack(">I", zlib.crc32(sort + data))
        )

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    body = chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 10)) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + body


class TestCaptures:
    def test_a_capture_loses_what_the_oscilloscope_wrote_above_it(self) -> None:
        written = (
            b"Model,INV-2\nSerial,SN0042\nOwner,Anna\n\nTime (us),CH2 (mV)\n0,250\n1,260\n2,1\n"
        )
        kept = prepare_attachment(written, "sandcastle pin 22.csv")
        assert kept.data == b"time (s),CH1 (V)\n0,0.25\n1e-06,0.26\n2e-06,0.001\n"
        assert kept.attachment.name == "sandcastle-pin-22.csv"

    @given(
        volts=arrays.arrays(
            float, st.tuples(st.integers(1, 2), st.integers(2, 40)), elements=st.floats(-500, 500)
        ),
        interval_s=st.floats(1e-9, 1e-2),
        start=st.integers(-1000, 1000),
    )
    def test_times_and_volts_are_kept_to_what_a_converter_resolves(
        self, volts: np.ndarray, interval_s: float, start: int
    ) -> None:
        """Sixteen bits, the most that oscilloscopes have, are one part in 65536."""
        t_s = (start + np.arange(volts.shape[1])) * interval_s
        rows = "\n".join(",".join(map(repr, row)) for row in np.vstack([t_s, volts]).T.tolist())
        heads = ",".join(["time (s)", "A (V)", "B (V)"][: len(volts) + 1])
        kept = prepare_attachment(f"{heads}\n{rows}\n".encode(), "a.csv")
        again = read_capture(kept.data, "again.csv")
        assert again.t_s == pytest.approx(t_s, abs=interval_s * 1e-6)
        for channel, given_v in zip(again.channels, volts, strict=True):
            assert channel == pytest.approx(given_v, rel=1e-6)

    @pytest.mark.parametrize(
        ("data", "message"),
        [
            (b"", "line 1: an empty file"),
            (b"phone,0171 555 1234\n", "no line of numbers"),
            (b"time,volts\n0,1\n1,nan\n", "expected finite numbers"),
            (make_picture("PNG"), "^a.csv: line 1: "),
        ],
    )
    def test_what_does_not_read_as_one_is_refused(self, data: bytes, message: str) -> None:
        with pytest.raises(AttachmentError, match=message):
            prepare_attachment(data, "a.csv")

    def test_one_that_stays_too_large_is_refused(self) -> None:
        rows = "\n".join(f"{n}e-6,{n % 999 + 0.1234567}" for n in range(250_000))
        with pytest.raises(AttachmentError, match="attach at most 4,000,000"):
            prepare_attachment(f"time (s),CH1 (V)\n{rows}\n".encode(), "a.csv")


class TestFiles:
    def test_a_file_is_read_and_named_without_its_folder(self, tmp_path: Path) -> None:
        path = tmp_path / "Anna" / "µ screen.PNG"
        path.parent.mkdir()
        path.write_bytes(make_picture("PNG"))
        kept = prepare_attached_file(path, "Line drive at pin 18")
        assert (kept.attachment.name, kept.attachment.caption) == (
            "screen.png",
            "Line drive at pin 18",
        )

    def test_a_name_without_a_letter_gets_one(self) -> None:
        assert prepare_attachment(make_picture("PNG"), "写真.png").attachment.name == "attached.png"

    def test_a_file_that_is_not_there_or_of_another_sort_is_refused(self, tmp_path: Path) -> None:
        with pytest.raises(AttachmentError, match="No such file"):
            prepare_attached_file(tmp_path / "a.png")
        with pytest.raises(AttachmentError, match=r"a file \.svg cannot be attached"):
            prepare_attachment(b"<svg/>", "a.svg")

    def test_one_too_large_is_not_even_decoded(self) -> None:
        with pytest.raises(AttachmentError, match="too large; attach at most 40,000,000 bytes"):
            prepare_attachment(b"\0" * (MOST_GIVEN_BYTES + 1), "a.png")


class TestCapturesOfOtherKinds:
    def test_an_array_is_kept_as_text(self) -> None:
        file = io.BytesIO()
        np.savez(file, time=np.arange(4) * 1e-6, CH1=np.array([0.0, 1.0, 0.5, -1.0]))
        kept = prepare_attachment(file.getvalue(), "pin 3.npz")
        assert kept.attachment.name == "pin-3.csv"
        again = read_capture(kept.data, "again.csv")
        assert again.interval_s == pytest.approx(1e-6)
        assert list(again.channels[0]) == [0.0, 1.0, 0.5, -1.0]

    def test_a_sound_file_is_kept_with_its_volts_of_full_scale(self) -> None:
        file = io.BytesIO()
        with wave.open(file, "wb") as sound:
            sound.setnchannels(1)
            sound.setsampwidth(2)
            sound.setframerate(96_000)
            sound.writeframes(np.array([0, 16384, -16384, 0], "<i2").tobytes())
        with pytest.raises(AttachmentError, match="add --full-scale"):
            prepare_attachment(file.getvalue(), "hum.wav")
        kept = prepare_attachment(file.getvalue(), "hum.wav", full_scale_v=2.0)
        assert list(read_capture(kept.data, "hum.csv").channels[0]) == [0.0, 1.0, -1.0, 0.0]
