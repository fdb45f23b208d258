"""Labels for the controls of Datasette's own pages, which come without some of them.

Rules: WCAG 2.2, 1.3.1 and 4.1.2: every control has a name, headings go down one level at a time.
"""

from __future__ import annotations

import re
from typing import Final

from markupsafe import Markup

_CONTROL: Final = re.compile(r"<(select|input|textarea)([^>]*\bname=\"([^\"]+)\"[^>]*)>")
_NAMES: Final = {
    "_filter_column": "Column to filter by",
    "_filter_op": "How to compare",
    "_filter_value": "Value to compare with",
    "_sort": "Sort by",
    "sql": "Statement in SQL",
}
_NUMBERED: Final = re.compile(r"_[0-9]+$")


def label_controls(html: str) -> Markup:
    """Return a part of a page with a name for each control that has none, and headings in order."""
    labelled = _CONTROL.sub(_add_name, html)
    # All headings of these pages below the first are of the third level.
    return Markup(re.sub(r"<(/?)h3\b", r"<\1h2", labelled))


def _add_name(control: re.Match[str]) -> str:
    tag, attributes, field = control[1], control[2], control[3]
    name = _NAMES.get(_NUMBERED.sub("", field))
    if name is None or "aria-label" in attributes or 'type="hidden"' in attributes:
        return control[0]
    return f'<{tag} aria-label="{name}"{attributes}>'
