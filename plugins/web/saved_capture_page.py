"""The page of a capture as one file without scripts, which opens from the disk."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from jinja2 import Environment, FileSystemLoader

from ...schema.text import visible
from ..readings.pictures.capture_pictures import CapturePictures
from .pages.capture_pages import JudgedCapture, describe_capture, draw_capture

_SITE: Final = Path(__file__).parent / "site"
_SHEETS: Final = ("pinfolio.css", "pieces.css", "pin.css", "capture.css")

MARK: Final = b'<meta name="generator" content="pinfolio">'
"""Near the start of each page that is written here, so that no other file is replaced by one."""


def write_capture_page(pictures: CapturePictures) -> str:
    """Return the page that ``serve`` shows of a capture, with its style inside, as HTML."""
    judged_pin = pictures.check.judged
    judged = JudgedCapture(judged_pin.chip, judged_pin.pin, pictures, draw_capture(pictures))
    templates = Environment(loader=FileSystemLoader(_SITE / "templates"), autoescape=True)
    page = templates.get_template("capture.html").render(
        saved_style="\n".join((_SITE / "static" / name).read_text("utf-8") for name in _SHEETS),
        published=True,
        look="",
        condition=judged_pin.condition,
        **describe_capture(judged),
    )
    # The template escapes HTML; characters that reverse or hide text are spelt out here.
    return visible(page, keep_lines=True)
