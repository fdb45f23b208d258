"""Check that an attachment is of the kind its name ends with: a picture that decodes, or text."""

from __future__ import annotations

import io
import warnings
from collections.abc import Callable
from threading import Lock
from typing import Final

from ...schema.errors import Unusable
from ..system.limited_process import LimitReachedError
from ..system.limited_worker import LimitedWorker

MOST_BYTES: Final = 4_000_000
MOST_PIXELS: Final = 16_000_000
_DECODING_S: Final = 20.0
_PICTURE_FORMATS: Final = {"png": "PNG", "jpg": "JPEG"}
_FIRST_PRINTABLE: Final = 32  # code points below it are control characters


class AttachmentError(Unusable):
    """The attachment is unusable; the message gives the reason."""


def check_attachment(data: bytes, ending: str) -> tuple[int, int] | None:
    """Return the width and height of a picture in pixels, None for text.

    Raises AttachmentError unless ``data`` is a sound png, jpg or csv of at most ``MOST_BYTES``
    and ``MOST_PIXELS``.
    """
    if len(data) > MOST_BYTES:
        raise AttachmentError(f"{len(data):,} bytes are too many; attach at most {MOST_BYTES:,}")
    if ending in _PICTURE_FORMATS:
        return _measure_limited(data, _PICTURE_FORMATS[ending])
    _check_text(data)
    return None


def _measure_limited(data: bytes, format_name: str) -> tuple[int, int]:
    """Return the result of ``_measure_picture``, decoding in a child process within limits."""
    try:
        with _ONE_AT_A_TIME:
            outcome = _DECODER.ask((data, format_name), _DECODING_S)
    except LimitReachedError as reached:
        raise AttachmentError(f"decoding failed ({reached}); attach a smaller picture") from None
    if isinstance(outcome, str):
        raise AttachmentError(outcome)
    width, height = outcome
    return width, height


def start_decoding() -> Callable[[tuple[bytes, str]], tuple[int, int] | str]:
    """Return the function that measures pictures in a child process, or says why it cannot."""

    def measure(picture: tuple[bytes, str]) -> tuple[int, int] | str:
        try:
            return _measure_picture(*picture)
        except AttachmentError as error:
            return str(error)

    return measure


_DECODER: Final = LimitedWorker(start_decoding, memory_bytes=250_000_000)
_ONE_AT_A_TIME: Final = Lock()


def _measure_picture(data: bytes, format_name: str) -> tuple[int, int]:
    """Return a picture's width and height in pixels. Raises AttachmentError."""
    from PIL import Image

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            with Image.open(io.BytesIO(data), formats=[format_name]) as picture:
                # The size is in the header: it is checked before the pixels fill memory.
                width, height = picture.size
                if width * height > MOST_PIXELS:
                    raise AttachmentError(
                        f"a picture of {width} by {height} pixels is too large;"
                        f" attach at most {MOST_PIXELS:,} pixels"
                    )
                picture.load()
                return width, height
    except AttachmentError:
        raise
    except Exception:  # Pillow's decoders raise nearly any exception on crafted bytes
        raise AttachmentError(f"not a sound {format_name} picture; save it again") from None


def _check_text(data: bytes) -> None:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise AttachmentError("not a text file in UTF-8; export the samples as text") from None
    if any(ord(character) < _FIRST_PRINTABLE and character not in "\t\r\n" for character in text):
        raise AttachmentError("a text file of samples holds no control characters; export it again")
