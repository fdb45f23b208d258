"""Markdown of strangers: formatting comes through, nothing that acts does."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.plugins.web.note_markdown import render_markdown


class Tags(HTMLParser):
    """Every tag with its attributes."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.found: list[tuple[str, list[tuple[str, str | None]]]] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, attrs))


MEANT = {"p", "br", "hr", "em", "strong", "s", "code", "pre", "blockquote", "ul", "ol", "li"}
MEANT |= {"table", "thead", "tbody", "tr", "th", "td"}


def test_formatting_comes_through() -> None:
    html = render_markdown("Pin 13 *low*, **not** missing:\n\n1. `R402`\n2. C418")
    assert html == (
        "<p>Pin 13 <em>low</em>, <strong>not</strong> missing:</p>\n"
        "<ol>\n<li><code>R402</code></li>\n<li>C418</li>\n</ol>\n"
    )


def test_a_table_of_readings_comes_through() -> None:
    html = render_markdown("| pin | V |\n|--|--:|\n| 13 | 3.1 |")
    assert "<th>pin</th>" in html
    assert "<td>3.1</td>" in html


# Common ways in, after the OWASP Cross Site Scripting Prevention and Filter Evasion cheat sheets.
@pytest.mark.parametrize(
    "text",
    [
        "<script>alert(1)</script>",
        "<img src=x onerror=alert(1)>",
        "![x](https://example.org/x.png)",
        "[click](javascript:alert(1))",
        "[click][1]\n\n[1]: javascript:alert(1)",
        "<javascript:alert(1)>",
        "<https://example.org>",
        "<svg/onload=alert(1)>",
        "# A heading\n\nAnother\n===",
        "```html onload=alert(1)\n<b>\n```",
        "<div style='background:url(x)'>",
        "&lt;script&gt; &#60;script&#62;",
        "<a href='data:text/html,x'>y</a>",
    ],
)
def test_nothing_acts(text: str) -> None:
    found = Tags(render_markdown(text)).found
    assert {tag for tag, _ in found} <= MEANT
    assert [attributes for _, attributes in found if attributes] == []


def test_an_address_stays_to_be_read() -> None:
    assert "https://example.org/a" in render_markdown("see [here](https://example.org/a)")


def test_text_is_not_turned_round() -> None:
    assert "\u202e" not in render_markdown("a \u202e b")


@given(st.text(alphabet="<>&\"'`*_[]()!#|-=:/\\ \nabjsx1", max_size=300))
def test_whatever_is_written_only_meant_tags_come_out(text: str) -> None:
    html = render_markdown(text)
    assert {tag for tag, _ in Tags(html).found} <= MEANT
    assert not re.search(r"<\w+[^>]*\s\w+=", html)


def test_deep_nesting_ends() -> None:
    assert render_markdown(">" * 2000).count("<blockquote>") < 20
