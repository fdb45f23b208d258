"""A page that shows the values of a scanned sheet beside the pictures of their places.

It is one file without scripts, so that it opens from the disk.
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Sequence
from html import escape
from typing import Final

from ...schema.text import format_count, visible
from ..contributing.scan_review import ReadValue

_PAGE: Final = """<!DOCTYPE html>
<html lang="en">
<head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy"
 content="default-src 'none'; img-src data:; style-src 'unsafe-inline'">
<title>{title} · pinfolio</title>
<style>
:root {{ color-scheme: light dark; }}
body {{ font: 16px/1.45 system-ui, sans-serif; margin: 0 auto; max-width: 1100px; padding: 16px; }}
h1 {{ font-size: 24px; }} h2 {{ font-size: 19px; margin-top: 28px; }}
ol {{ list-style: none; padding: 0; margin: 0; }}
li {{ display: grid; grid-template-columns: 40px minmax(0, 1fr) minmax(0, 1.2fr); gap: 4px 16px;
 align-items: center; padding: 8px 0; border-bottom: 1px solid #8886; }}
li > b {{ text-align: right; font-variant-numeric: tabular-nums; }}
img {{ max-width: 100%; height: auto; border: 1px solid #8888; background: #fff; }}
p {{ margin: 0; overflow-wrap: anywhere; }}
.read {{ font-weight: 650; font-size: 18px; }}
@media (max-width: 640px) {{
 li {{ grid-template-columns: 28px minmax(0, 1fr); }} img {{ grid-column: 2; }}
}}
</style></head>
<body><main><h1>{title}</h1>
<p>Compare each text with its picture. Doubtful values are blanks in the draft.</p>
{sections}</main></body>
</html>
"""


def write_scan_page(name: str, values: Sequence[ReadValue]) -> str:
    """Return the page for the values of one sheet; their texts may come from strangers."""
    numbered = list(enumerate(values, start=1))
    doubtful = [(number, value) for number, value in numbered if value.doubt]
    others = [(number, value) for number, value in numbered if not value.doubt]
    sections = _write_section("Doubtful", doubtful) + _write_section("Read", others)
    return _PAGE.format(
        title=escape(visible(f"{name}: values read from the scan")), sections=sections
    )


def _write_section(heading: str, values: Sequence[tuple[int, ReadValue]]) -> str:
    if not values:
        return ""
    items = "\n".join(_write_item(number, value) for number, value in values)
    count = format_count(len(values), "value")
    return f"<h2>{heading}: {count}</h2>\n<ol>\n{items}\n</ol>\n"


def _write_item(number: int, value: ReadValue) -> str:
    picture = b64encode(value.snippet).decode("ascii")
    other = f" or “{escape(visible(value.other_reading))}”" if value.other_reading else ""
    doubt = f"<p>{escape(visible(value.doubt))}</p>" if value.doubt else ""
    place = escape(f"{value.confidence_percent} %, {value.place}")
    return (
        f'<li><b>{number}</b><div><p class="read">“{escape(visible(value.text))}”{other}</p>'
        f"<p>{escape(visible(value.about))}</p>{doubt}<p>{place}</p></div>"
        f'<img src="data:image/jpeg;base64,{picture}" alt="the place on page {value.page}"></li>'
    )
