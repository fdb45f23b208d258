"""Slips behind the refusals of the YAML parser, which often notices them lines later."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

import yaml

_OPENING_QUOTE: Final = re.compile(r'(?:^|[:,\[-] |\[)(")(?=\S)')
_QUOTED: Final = re.compile(r'"(?:[^"\\]|\\.)*"')


@dataclass(frozen=True)
class YamlSlip:
    """Place of a slip, counted from 1; the text found, the text expected, the repair."""

    line: int
    column: int
    found: str
    expected: str
    write: str | None = None


def find_yaml_slip(text: str, refused: yaml.MarkedYAMLError) -> YamlSlip | None:
    """Return the slip that made the parser refuse ``text``; None if it is none of those known."""
    lines = text.split("\n")
    problem, context = refused.problem or "", refused.context or ""
    mark = refused.problem_mark
    last_line = min(mark.line + 1, len(lines)) if mark is not None else len(lines)
    slip = _find_open_quote(lines[:last_line])
    if slip is not None:
        return slip
    if refused.context_mark is not None and "simple key" in context:
        return _explain_lost_colon(lines, refused.context_mark)
    if refused.context_mark is not None and "flow sequence" in context:
        return _explain_open_bracket(lines, refused.context_mark)
    if mark is not None and "mapping values are not allowed" in problem:
        return _explain_indentation(lines, mark)
    return None


def _find_open_quote(lines: list[str]) -> YamlSlip | None:
    """Return the first quote that only the opening quote of a later value closes."""
    opened: YamlSlip | None = None
    for number, line in enumerate(lines, 1):
        if line.lstrip().startswith("#"):
            continue
        rest = line
        if opened is not None:
            if '"' not in line:
                continue
            if _OPENING_QUOTE.search(line[: line.index('"') + 2]):
                return opened
            rest = " " * (line.index('"') + 1) + line[line.index('"') + 1 :]
        rest = _QUOTED.sub(lambda quoted: " " * len(quoted[0]), rest)
        opening = _OPENING_QUOTE.search(rest)
        opened = None
        if opening is not None:
            column = opening.start(1)
            closed = line[column:].rstrip("}], ") + '"'
            opened = YamlSlip(number, column + 1, "an open quote", "a closing quote", closed)
    return opened


def _explain_lost_colon(lines: list[str], mark: yaml.Mark) -> YamlSlip | None:
    """Return the slip in ``role input`` or ``role:input``; None for a text that is neither."""
    words = lines[mark.line][mark.column :].strip()
    key = re.fullmatch(r"(\w+)[ :]\s*(.+)", words)
    if key is None:
        return None
    expected = "a key, a colon and a space before the value"
    return YamlSlip(
        mark.line + 1, mark.column + 1, f"'{words[:60]}'", expected, f"{key[1]}: {key[2]}"
    )


def _explain_open_bracket(lines: list[str], mark: yaml.Mark) -> YamlSlip | None:
    """Return the slip in ``[pin 9, ground}``; None if the list is closed in its line."""
    rest = lines[mark.line][mark.column :]
    entries = re.match(r"\[([^\][{}:]*)([\][{}:]?)", rest)
    if entries is None or entries[2] == "]":
        return None
    # Before a colon the last word is the next key of the map around the list.
    listed = entries[1].rpartition(",")[0] if entries[2] == ":" else entries[1]
    return YamlSlip(mark.line + 1, mark.column + 1, "an open [", "a closing ]", f"[{listed}]")


def _explain_indentation(lines: list[str], mark: yaml.Mark) -> YamlSlip | None:
    """Return the slip of a key that is set in too far; None if the colon is inside a value."""
    key = re.fullmatch(r"( *(?:- )?)\w+", lines[mark.line][: mark.column])
    if key is None:
        return None
    expected = "the key below the first letter of the keys beside it"
    return YamlSlip(mark.line + 1, len(key[1]) + 1, "a key set in too far", expected)
