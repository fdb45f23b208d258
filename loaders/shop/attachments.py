"""A capture or a photograph made fit to be attached to a note: read, and written anew.

What leaves the shop is what is seen and measured, never what a camera or an oscilloscope wrote
beside it: place and time, names, serial numbers.
"""

from __future__ import annotations

import hashlib
import io
import re
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from ...schema.note import Attachment
from ..captures.text_capture import CaptureError, read_capture
from .attachment_check import AttachmentError, check_attachment

if TYPE_CHECKING:
    from PIL.Image import Image

MOST_GIVEN_BYTES: Final = 40_000_000
MOST_GIVEN_PIXELS: Final = 50_000_000  # what telephones take; 150 MB while it is decoded
LONGEST_SIDE: Final = 1600  # pixels kept: enough to read a print on a chip
_JPEG_QUALITY: Final = 85
_ENDINGS: Final = (".csv", ".png", ".jpg", ".jpeg")
_LONGEST_NAME: Final = 80


@dataclass(frozen=True)
class Prepared:
    """An attachment as a note names it, and the bytes to be kept."""

    attachment: Attachment
    data: bytes


def prepare_file(path: Path, caption: str | None = None) -> Prepared:
    """The file at ``path`` made fit to be attached; raises AttachmentError."""
    try:
        with path.open("rb") as file:
            data = file.read(MOST_GIVEN_BYTES + 1)
    except OSError as refused:
        raise AttachmentError(f"{path}: {refused.strerror}") from None
    return prepare(data, path.name, caption)


def prepare(data: bytes, name: str, caption: str | None = None) -> Prepared:
    """The bytes of a file of this name made fit to be attached.

    A capture (csv) must read as one and keeps its times and volts; a picture (png, jpg, jpeg) is
    turned upright, made no larger than ``LONGEST_SIDE`` and keeps nothing but its pixels. The
    same bytes give the same attachment. Raises AttachmentError.
    """
    ending = Path(name).suffix.lower()
    try:
        if ending not in _ENDINGS:
            raise AttachmentError(f"found a file {ending or 'without ending'}, expected {_WANTED}")
        if len(data) > MOST_GIVEN_BYTES:
            raise AttachmentError(f"found a file larger than {MOST_GIVEN_BYTES:,} bytes")
        made, ending = _capture(data, name) if ending == ".csv" else _picture(data)
        check_attachment(made, ending)
    except AttachmentError as refused:
        raise AttachmentError(f"{name}: {refused}") from None
    digest = hashlib.sha256(made).hexdigest()
    return Prepared(Attachment(name=_tame(name, ending), sha256=digest, caption=caption), made)


_WANTED: Final = "a capture (.csv) or a picture (.png, .jpg)"


def _tame(name: str, ending: str) -> str:
    """The file's name in letters, digits and hyphens."""
    stem = re.sub(r"[^A-Za-z0-9_]+", "-", Path(name).stem).strip("-_")
    return f"{stem[: _LONGEST_NAME - len(ending) - 1] or 'attached'}.{ending}"


def _capture(data: bytes, name: str) -> tuple[bytes, str]:
    """Times and volts alone: what an oscilloscope writes above them may name it and its owner."""
    try:
        capture = read_capture(data, name)
    except CaptureError as refused:
        fault = refused.faults[0]
        found = f"found {fault.found} in line {fault.line}, expected {fault.expected}"
        raise AttachmentError(found) from None
    heads = ["time (s)", *(f"CH{n} (V)" for n in range(1, len(capture.channels) + 1))]
    rows = zip(capture.t_s.tolist(), *(one.tolist() for one in capture.channels), strict=True)
    return "".join([",".join(heads) + "\n", *_lines(rows)]).encode(), "csv"


def _lines(rows: Iterator[tuple[float, ...]]) -> Iterator[str]:
    """Seven figures of volts are more than any converter has; times need more, far from zero."""
    for t_s, *volts in rows:
        yield ",".join([f"{t_s:.12g}", *(f"{v:.7g}" for v in volts)]) + "\n"


def _picture(data: bytes) -> tuple[bytes, str]:
    """A picture written anew from its pixels, and the ending that is right for it."""
    from PIL import Image

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(data), formats=["PNG", "JPEG"]) as opened:
                width, height = opened.size
                if width * height > MOST_GIVEN_PIXELS:
                    found = f"found a picture of {width} by {height} pixels"
                    raise AttachmentError(f"{found}, expected at most {MOST_GIVEN_PIXELS:,} in all")
                sort = "PNG" if opened.format == "PNG" else "JPEG"
                return _written(_upright(opened), sort)
    except AttachmentError:
        raise
    except Exception:  # Pillow's decoders raise nearly anything on bytes made to break them
        raise AttachmentError("found what is no PNG or JPEG picture, or a broken one") from None


def _upright(opened: Image) -> Image:
    """The pixels, turned as the camera says they are to be seen, and not too many."""
    from PIL import ImageOps

    opened.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))  # a JPEG is decoded no larger than needed
    picture = ImageOps.exif_transpose(opened)
    picture = picture.convert("RGBA" if picture.has_transparency_data else "RGB")
    picture.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    return picture


def _written(picture: Image, sort: str) -> tuple[bytes, str]:
    picture.info.clear()  # profiles, comments and texts would be written again
    out = io.BytesIO()
    if sort == "PNG":
        picture.save(out, "PNG", optimize=True)
        return out.getvalue(), "png"
    picture.convert("RGB").save(out, "JPEG", quality=_JPEG_QUALITY, optimize=True)
    return out.getvalue(), "jpg"
