"""Whether an attachment is what its name says: a picture that decodes, or a text."""

from __future__ import annotations

import io
import warnings
from typing import Final

from ...schema.errors import Unusable

MOST_BYTES: Final = 4_000_000
MOST_PIXELS: Final = 16_000_000
_FORMATS: Final = {"png": "PNG", "jpg": "JPEG"}


class AttachmentError(Unusable):
    """An attachment that is not what it should be; the message says what was found."""


def check_attachment(data: bytes, ending: str) -> tuple[int, int] | None:
    """Raise AttachmentError unless ``data`` is a sound png, jpg or csv, and of bounded size.

    Gives the width and height of a picture in pixels, None for a text.
    """
    if len(data) > MOST_BYTES:
        raise AttachmentError(f"found {len(data):,} bytes, expected at most {MOST_BYTES:,}")
    if ending in _FORMATS:
        return _check_picture(data, _FORMATS[ending])
    _check_text(data)
    return None


def _check_picture(data: bytes, sort: str) -> tuple[int, int]:
    from PIL import Image

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            with Image.open(io.BytesIO(data), formats=[sort]) as picture:
                width, height = picture.size
                if width * height > MOST_PIXELS:
                    found = f"a picture of {width} by {height} pixels"
                    raise AttachmentError(f"found {found}, expected at most {MOST_PIXELS:,} in all")
                picture.load()
                return width, height
    except AttachmentError:
        raise
    except Exception:  # Pillow's decoders raise nearly anything on bytes made to break them
        raise AttachmentError(f"found what is no {sort} picture, or a broken one") from None


def _check_text(data: bytes) -> None:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise AttachmentError("found bytes that are not UTF-8, expected a text file") from None
    if any(ord(sign) < 32 and sign not in "\t\r\n" for sign in text):
        raise AttachmentError("found control characters, expected a text file of samples")
