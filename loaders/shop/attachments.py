"""Prepare a capture or a photograph for attaching to a note, by decoding and encoding it again.

Only pixels and samples are kept. Metadata is stripped: location, time, names, serial numbers.
"""

from __future__ import annotations

import hashlib
import io
import re
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from ...schema.note import Attachment
from ..captures.capture import CaptureError
from ..captures.capture_file import ENDINGS as CAPTURE_ENDINGS
from ..captures.limited_capture import read_capture_limited
from ..captures.plain_csv import format_csv
from ..system.limited_process import LimitReachedError, Limits, run_limited
from ..system.regular_files import open_regular
from .attachment_check import AttachmentError, check_attachment

if TYPE_CHECKING:
    from PIL.Image import Image

MOST_GIVEN_BYTES: Final = 40_000_000
MOST_GIVEN_PIXELS: Final = 50_000_000  # a telephone's camera; 150 MB when decoded
LONGEST_SIDE: Final = 1600  # pixels; the marking of a chip stays legible
_PICTURE_LIMITS: Final = Limits(memory_bytes=600_000_000, cpu_s=20, wall_s=60)
_JPEG_QUALITY: Final = 85
_PICTURE_ENDINGS: Final = (".png", ".jpg", ".jpeg")
_LONGEST_NAME: Final = 80


@dataclass(frozen=True)
class PreparedAttachment:
    """An attachment's entry in a note, and its bytes."""

    attachment: Attachment
    data: bytes


def prepare_attached_file(
    path: Path, caption: str | None = None, full_scale_v: float | None = None
) -> PreparedAttachment:
    """Return the file at ``path`` ready for attaching; raises AttachmentError."""
    try:
        with open_regular(path) as file:
            data = file.read(MOST_GIVEN_BYTES + 1)
    except OSError as error:
        raise AttachmentError(f"{path}: {error.strerror}") from None
    return prepare_attachment(data, path.name, caption, full_scale_v)


def prepare_attachment(
    data: bytes, name: str, caption: str | None = None, full_scale_v: float | None = None
) -> PreparedAttachment:
    """Return the bytes of a file ready for attaching; ``name`` is its file name.

    A capture of any kind that can be read becomes a csv of its times and volts; ``full_scale_v`` is
    the voltage of full scale in a sound file. A picture (png, jpg, jpeg) is turned upright,
    reduced to ``LONGEST_SIDE`` and keeps its pixels. The same bytes give the same attachment.

    Raises AttachmentError.
    """
    ending = Path(name).suffix.lower()
    try:
        if ending not in (*CAPTURE_ENDINGS, *_PICTURE_ENDINGS):
            raise AttachmentError(
                f"a file {ending or 'without ending'} cannot be attached; take {_EXPECTED}"
            )
        if len(data) > MOST_GIVEN_BYTES:
            raise AttachmentError(
                f"the file is too large; attach at most {MOST_GIVEN_BYTES:,} bytes"
            )
        if ending in CAPTURE_ENDINGS:
            content, ending = _rewrite_capture(data, name, full_scale_v)
        else:
            content, ending = _rewrite_limited(data)
        check_attachment(content, ending)
    except AttachmentError as error:
        raise AttachmentError(f"{name}: {error}") from None
    digest = hashlib.sha256(content).hexdigest()
    return PreparedAttachment(
        Attachment(name=_clean_name(name, ending), sha256=digest, caption=caption), content
    )


_EXPECTED: Final = (
    f"a capture ({', '.join(CAPTURE_ENDINGS)}) or a picture ({', '.join(_PICTURE_ENDINGS[:2])})"
)


def _clean_name(name: str, ending: str) -> str:
    """Return a file name of letters, digits and hyphens."""
    stem = re.sub(r"[^A-Za-z0-9_]+", "-", Path(name).stem).strip("-_")
    return f"{stem[: _LONGEST_NAME - len(ending) - 1] or 'attached'}.{ending}"


def _rewrite_capture(data: bytes, name: str, full_scale_v: float | None) -> tuple[bytes, str]:
    """Return the samples as CSV without the header, which may name the instrument's owner."""
    try:
        capture = read_capture_limited(data, name, full_scale_v=full_scale_v)
    except CaptureError as error:
        fault = error.faults[0]
        raise AttachmentError(f"line {fault.line}: {fault.message}") from None
    return format_csv(capture), "csv"


def _rewrite_limited(data: bytes) -> tuple[bytes, str]:
    """Return a picture as ``_rewrite_picture`` does, made in a child process within limits."""
    try:
        return run_limited(_rewrite_picture, data, limits=_PICTURE_LIMITS)
    except LimitReachedError as reached:
        raise AttachmentError(f"decoding failed ({reached}); attach a smaller picture") from None


def _rewrite_picture(data: bytes) -> tuple[bytes, str]:
    """Return a picture encoded again from its pixels, and its file name ending."""
    from PIL import Image

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(data), formats=["PNG", "JPEG"]) as opened:
                # The size is in the header: it is checked before the pixels fill memory.
                width, height = opened.size
                if width * height > MOST_GIVEN_PIXELS:
                    raise AttachmentError(
                        f"a picture of {width} by {height} pixels is too large;"
                        f" attach at most {MOST_GIVEN_PIXELS:,} pixels"
                    )
                format_name = "PNG" if opened.format == "PNG" else "JPEG"
                return _encode_picture(_turn_upright(opened), format_name)
    except AttachmentError:
        raise
    except Exception:  # Pillow's decoders raise nearly any exception on crafted bytes
        raise AttachmentError("not a sound PNG or JPEG picture; save it again") from None


def _turn_upright(opened: Image) -> Image:
    """Return the picture turned by its EXIF orientation and reduced to ``LONGEST_SIDE``."""
    from PIL import ImageOps

    opened.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))  # decodes a JPEG at a reduced scale
    picture = ImageOps.exif_transpose(opened)
    picture = picture.convert("RGBA" if picture.has_transparency_data else "RGB")
    picture.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    return picture


def _encode_picture(picture: Image, format_name: str) -> tuple[bytes, str]:
    picture.info.clear()  # otherwise profiles and comments are saved again
    out = io.BytesIO()
    if format_name == "PNG":
        picture.save(out, "PNG", optimize=True)
        return out.getvalue(), "png"
    picture.convert("RGB").save(out, "JPEG", quality=_JPEG_QUALITY, optimize=True)
    return out.getvalue(), "jpg"
