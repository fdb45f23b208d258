"""Render pages of PDFs and decode picture files, in grey at one resolution.

Needs pypdfium2 for PDFs. Pages of strangers: run it in a limited process.
"""

from __future__ import annotations

import io
from typing import Any, Final

from PIL import Image

POINTS_PER_INCH: Final = 72
RESOLUTION_DPI: Final = 200
PIXELS_PER_POINT: Final = RESOLUTION_DPI / POINTS_PER_INCH
_MOST_PIXELS: Final = 60_000_000
_PAGE_HEIGHT_PT: Final = 842  # A4 (ISO 216): a picture file is taken for one page of it
_LARGEST_SIDE_PT: Final = 1300  # A3 and tabloid
_FORMATS: Final = ("PNG", "JPEG", "TIFF", "WEBP", "BMP")


class UnreadablePictureError(Exception):
    """A page or picture that cannot be decoded; the message says why."""


def open_pdf(data: bytes) -> Any:
    """Return the open document of a PDF; None if the data are none that can be opened."""
    if not data.lstrip().startswith(b"%PDF"):
        return None
    import pypdfium2

    try:
        return pypdfium2.PdfDocument(data)
    except pypdfium2.PdfiumError:
        return None


def render_pdf_page(document: Any, number: int) -> Image.Image | None:
    """Return a page of a pypdfium2 document, counted from 1; None if it has text or nothing.

    Raises UnreadablePictureError.
    """
    try:
        page = document[number - 1]
        has_text = page.get_textpage().count_chars() > 0
        if has_text or not any(True for _ in page.get_objects(max_depth=1)):
            return None
        scale = min(1.0, _LARGEST_SIDE_PT / max(page.get_size())) * PIXELS_PER_POINT
        picture: Image.Image = page.render(scale=scale, grayscale=True).to_pil().convert("L")
    except MemoryError:
        raise
    except Exception as fault:  # the renderer raises errors of several classes
        raise UnreadablePictureError(f"the page is damaged ({type(fault).__name__})") from None
    return picture


def decode_picture(data: bytes) -> Image.Image:
    """Return a picture file as one page in grey; raises UnreadablePictureError."""
    try:
        with Image.open(io.BytesIO(data), formats=_FORMATS) as opened:
            if opened.width * opened.height > _MOST_PIXELS:
                raise UnreadablePictureError("the picture has too many pixels")
            turned = _turn_as_taken(opened)
            grey = _flatten(turned)
    except UnreadablePictureError:
        raise
    except MemoryError:
        raise
    except Exception as fault:  # decoders raise errors of any class on damaged files
        raise UnreadablePictureError(f"the picture is damaged ({type(fault).__name__})") from None
    scale = _PAGE_HEIGHT_PT * PIXELS_PER_POINT / max(grey.size)
    size = (max(1, round(grey.width * scale)), max(1, round(grey.height * scale)))
    return grey.resize(size, Image.Resampling.LANCZOS)


def _turn_as_taken(picture: Image.Image) -> Image.Image:
    """Return the picture upright by the mark that a camera leaves (Exif 2.32, orientation)."""
    from PIL import ImageOps

    turned = ImageOps.exif_transpose(picture)
    return turned if turned is not None else picture


def _flatten(picture: Image.Image) -> Image.Image:
    """Return the picture in grey, transparent parts as white paper."""
    if picture.mode in ("RGBA", "LA", "PA") or "transparency" in picture.info:
        paper = Image.new("RGBA", picture.size, "white")
        return Image.alpha_composite(paper, picture.convert("RGBA")).convert("L")
    return picture.convert("L")
