"""Lay out a chip file: values that fit go on one line, long text is folded.

Lists are indented by two, items of lists of maps start on lines of their own, and text is put in
double quotes where it needs any. The layout depends only on the content, not on the earlier layout.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from io import StringIO
from json import dumps
from typing import Any, Final

import yaml
from yaml.emitter import Emitter

from .yaml_comments import Collection, Document, Entry, Scalar

WIDTH: Final = 100
_INDENT: Final = 2

_resolver: Any = yaml.SafeLoader("")
_emitter = Emitter(StringIO(), allow_unicode=True)


def lay_out(document: Document) -> str:
    """Return the document as text."""
    lines = _format_block(document.root, 0)
    lines = _strip_first_blanks([*document.head, *lines])
    return "\n".join(lines) + "\n"


def format_scalar(scalar: Scalar, *, in_brackets: bool) -> str:
    """Return a scalar as YAML, in double quotes where it could be misread."""
    text = scalar.text
    if not text:
        return '""' if scalar.quoted else ""
    analysis = _emitter.analyze_scalar(text)
    plain = analysis.allow_flow_plain if in_brackets else analysis.allow_block_plain
    seen = "".join(_escape(sign) for sign in text)
    if plain and seen == text and not (scalar.quoted and _is_typed(text)):
        return text
    return "".join(_escape(sign) for sign in dumps(text, ensure_ascii=False))


def _is_typed(text: str) -> bool:
    """Return whether YAML readers take the plain text for a number, a date or a Boolean."""
    tag: str = _resolver.resolve(yaml.ScalarNode, text, (True, False))
    return tag != "tag:yaml.org,2002:str"


def _escape(sign: str) -> str:
    """Return a character, or its YAML escape if it is invisible."""
    if unicodedata.category(sign) not in ("Cc", "Cf", "Zl", "Zp", "Co", "Cn"):
        return sign
    code = ord(sign)
    return f"\\u{code:04x}" if code <= 0xFFFF else f"\\U{code:08x}"


def _format_block(collection: Collection, indent: int) -> list[str]:
    """Return the lines of a collection, one entry below the other, then its last comments."""
    margin = " " * indent
    lines: list[str] = []
    for entry in collection.entries:
        above, own = _format_entry(entry, indent)
        lines += [f"{margin}{line}" if line else "" for line in above]
        lines += own
    lines = _strip_first_blanks(lines)
    return lines + [f"{margin}{line}" if line else "" for line in collection.tail]


def _format_entry(entry: Entry, indent: int) -> tuple[list[str], list[str]]:
    """Return the comments above an entry, and its own lines."""
    value, above = entry.value, list(entry.before)
    key = "-" if entry.key is None else f"{format_scalar(Scalar(entry.key), in_brackets=False)}:"
    lead = " " * indent + key
    beside = f"  {entry.beside}" if entry.beside else ""
    inner_indent = indent + _INDENT
    if isinstance(value, Scalar):
        first_line, *more_lines = _format_scalar_lines(value, lead, inner_indent)
        return above, [first_line + beside, *more_lines]
    if not value.entries:
        return above + value.tail, [f"{lead} {'{}' if value.is_map else '[]'}{beside}"]
    if _fits_brackets(value):
        line = f"{lead} {_format_in_brackets(value)}"
        if len(line) <= WIDTH:
            return above, [line + beside]
    if entry.key is not None:
        return above, [lead + beside, *_format_block(value, inner_indent)]
    # An item of a list begins on the line of its dash, which leaves no room for comments there.
    if entry.beside:
        above.append(entry.beside)
    above += value.entries[0].before
    value.entries[0].before = []
    first_line, *more_lines = _format_block(value, inner_indent)
    return above, [f"{lead} {first_line.lstrip()}", *more_lines]


def _fits_brackets(value: Scalar | Collection, *, in_list: bool = False) -> bool:
    """Return whether a value may go in brackets: no comments, multi-line text or list of maps."""
    if isinstance(value, Scalar):
        # An empty item would vanish: [a, , b] is no YAML.
        return "\n" not in value.text and bool(value.text or value.quoted or not in_list)
    if value.spread or value.tail:
        return False
    if not value.is_map and any(_is_map(entry.value) for entry in value.entries):
        return False
    has_comments = any(entry.beside or any(entry.before) for entry in value.entries)
    return not has_comments and all(
        _fits_brackets(entry.value, in_list=not value.is_map) for entry in value.entries
    )


def _is_map(value: Scalar | Collection) -> bool:
    return isinstance(value, Collection) and value.is_map


def _format_in_brackets(value: Scalar | Collection) -> str:
    if isinstance(value, Scalar):
        return format_scalar(value, in_brackets=True)
    opening, closing = "{}" if value.is_map else "[]"
    return opening + ", ".join(map(_format_pair, value.entries)) + closing


def _format_pair(entry: Entry) -> str:
    inside = _format_in_brackets(entry.value)
    if entry.key is None:
        return inside
    return f"{format_scalar(Scalar(entry.key), in_brackets=True)}: {inside}"


def _format_scalar_lines(scalar: Scalar, lead: str, indent: int) -> list[str]:
    """Return text after its key: on the same line, folded below it, or line by line."""
    text = scalar.text
    single_line = f"{lead} {format_scalar(scalar, in_brackets=False)}".rstrip()
    has_line_ends = "\n" in text
    if not text or (len(single_line) <= WIDTH and not has_line_ends):
        return [single_line]
    # Invisible characters need escapes, which only quoted text on one line has.
    is_visible = all(sign == "\n" or _escape(sign) == sign for sign in text)
    if not is_visible or not _emitter.analyze_scalar(text).allow_block:
        return [single_line]
    margin = " " * indent
    if has_line_ends:
        text_lines = text.split("\n")
        # Blanks at the edges of lines are lost, or taken for the margin.
        if any(text_line != text_line.strip() for text_line in text_lines):
            return [single_line]
        return [
            f"{lead} |-",
            *(margin + text_line if text_line else "" for text_line in text_lines),
        ]
    folded_lines = list(_fold(text, WIDTH - indent))
    if len(folded_lines) == 1:
        return [single_line]
    return [f"{lead} >-", *(margin + folded_line for folded_line in folded_lines)]


def _fold(text: str, width: int) -> Iterator[str]:
    """Yield lines that YAML joins with single spaces; double spaces are not split."""
    line = ""
    for word in re.split(r"(?<=[^ ]) (?=[^ ])", text):
        if line and len(line) + 1 + len(word) > width:
            yield line
            line = word
        else:
            line = f"{line} {word}" if line else word
    yield line


def _strip_first_blanks(lines: list[str]) -> list[str]:
    first = next((index for index, line in enumerate(lines) if line), len(lines))
    return lines[first:]
