"""The frame of every drawing: size, name and description for screen readers, escaped text.

Drawings have no style attributes and no style sheet, so that a page with a strict
Content-Security-Policy can contain them: looks come from presentation attributes, and from the page
by class.
"""

from __future__ import annotations

import re
from html import escape
from typing import Final

from ...schema.text import visible

FONT: Final = "system-ui, sans-serif"

_OWN_START: Final = re.compile(
    rb'<\?xml version="1\.0" encoding="UTF-8"\?>\n'
    rb'<svg xmlns="http://www\.w3\.org/2000/svg" class="[a-z-]+" role="(?:img|group)"'
    rb' viewBox="0 0 \d+ \d+" aria-label="[^"]*" font-family="'
    + re.escape(FONT.encode())
    + rb'" width="'
)
"""The start of a standalone drawing; other programs write other attributes in another order."""

_NOT_IN_XML: Final = dict.fromkeys((0xFFFE, 0xFFFF), "\ufffd")


def escape_svg_text(text: str) -> str:
    """Return any text escaped for content and double-quoted attributes, in HTML and in XML."""
    return escape(visible(text).translate(_NOT_IN_XML))


def frame_svg(
    body: str,
    *,
    size: tuple[int, int],
    name: str,
    title: str,
    description: str,
    role: str = "img",
    standalone: bool = False,
    stretches: bool = False,
) -> str:
    """Return an ``<svg>`` of class ``name`` around ``body``; ``size`` is that of its view box.

    ``title`` and ``description`` are plain text. ``role`` is ``img``, or ``group`` with links
    inside.
    ``standalone`` makes a complete file with a size of its own and white paper. ``stretches`` lets
    the page choose height and width.
    """
    width, height = size
    paper = f'<rect width="{width}" height="{height}" fill="#fff"/>' if standalone else ""
    alone = f' width="{width}" height="{height}" color="#1c2226"' if standalone else ""
    stretched = ' preserveAspectRatio="none"' if stretches else ""
    drawing = (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="{name}" role="{role}"'
        f' viewBox="0 0 {width} {height}" aria-label="{escape_svg_text(title)}"{stretched}'
        f' font-family="{FONT}"{alone}>'
        f"<title>{escape_svg_text(title)}</title><desc>{escape_svg_text(description)}</desc>"
        f"{paper}{body}</svg>"
    )
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{drawing}\n' if standalone else drawing


def is_own_drawing(start: bytes) -> bool:
    """Return whether a file that begins so is a standalone drawing by ``frame_svg``."""
    return _OWN_START.match(start) is not None
