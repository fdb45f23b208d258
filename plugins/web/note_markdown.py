"""Render the Markdown of a note as HTML that is safe in a page, even if written by an attacker.

It is made safe twice: the parser makes no HTML, pictures, links or headings (an address stays
plain text), then a cleaner passes only a short list of tags, and no attributes.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Final

from markupsafe import Markup

from ...schema.text import visible

if TYPE_CHECKING:
    from markdown_it import MarkdownIt

_TAGS: Final = {
    *("p", "br", "hr", "em", "strong", "s", "code", "pre", "blockquote", "ul", "ol", "li"),
    *("table", "thead", "tbody", "tr", "th", "td"),
}
_LEFT_AS_TEXT: Final = [
    *("html_block", "html_inline", "image", "link", "autolink", "reference", "heading"),
    "lheading",
]


def render_markdown(text: str | None) -> Markup:
    """Return Markdown as safe HTML; disallowed markup stays as text."""
    import nh3

    html = _build_parser().render(visible(text or "", keep_lines=True))
    return Markup(nh3.clean(html, tags=_TAGS, attributes={}, url_schemes=set(), link_rel=None))


@cache
def _build_parser() -> MarkdownIt:
    from markdown_it import MarkdownIt

    parser = MarkdownIt("commonmark", {"html": False, "linkify": False, "maxNesting": 12})
    return parser.enable(["table", "strikethrough"]).disable(_LEFT_AS_TEXT)
