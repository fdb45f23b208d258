"""Chip files formatted and mended: the same chip, every comment kept, and twice is like once."""

from __future__ import annotations

import re
from functools import cache
from typing import Any

import pytest
import yaml
from hypothesis import example, given, settings
from hypothesis import strategies as st
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.canonical_text import Fix, apply_fixes, format_chip_file
from pinfolio.loaders.chip_files.chip_file import read_chip
from pinfolio.loaders.chip_files.yaml_positions import read_yaml
from pinfolio.loaders.errors import ChipFileError

DEMO = {path.stem: path.read_text(encoding="utf-8") for path in chip_files()}


@cache
def tidy_demo(name: str) -> str:
    return format_chip_file(DEMO[name])


def load_data(text: str) -> Any:
    return read_yaml(text.encode(), "chip").data


def drop_defaults(value: Any) -> Any:
    """The data with every text stripped, as the models take it."""
    if isinstance(value, dict):
        return {key: drop_defaults(inner) for key, inner in value.items()}
    return [drop_defaults(v) for v in value] if isinstance(value, list) else value.strip()


@pytest.mark.parametrize("name", DEMO)
def test_a_demo_chip_stays_the_same_chip_with_the_same_comments(name: str) -> None:
    once = tidy_demo(name)
    assert format_chip_file(once) == once
    assert read_chip(once.encode(), name) == read_chip(DEMO[name].encode(), name)
    comments = [sorted(re.findall("#.*", text)) for text in (DEMO[name], once)]
    assert comments[0] == comments[1]


MESSY = """\
# About the whole file.

pins:   # nine of them
- role: input
  # what it is called
  symbol: "IN"   # as printed
  number: 1


  function: 'a: b'
  expectations: [{dc: 4.2volt +/-5%, condition: on,   # measured
    source: {page: 7, id: sheet}}]
  # - {condition: off, dc: 0 V}
# what it is
kind: jungle
part: QZ1
mystery: {b: 1, a: 2}
"""
TIDY = """\
# About the whole file.

part: QZ1
# what it is
kind: jungle
pins:  # nine of them
  - number: 1
    # what it is called
    symbol: IN  # as printed

    function: "a: b"
    role: input
    expectations:
      - condition: on  # measured
        dc: 4.2 V ± 5 %
        source: {id: sheet, page: 7}
    # - {condition: off, dc: 0 V}
mystery: {b: 1, a: 2}
"""


def test_keys_spacing_quantities_and_comments_find_their_places() -> None:
    assert format_chip_file(MESSY) == TIDY


def test_the_explanation_of_a_blank_goes_when_it_is_filled() -> None:
    blank = "part: QZ1  #? the part number\nmaker:  #? who makes it\n"
    assert format_chip_file(blank) == "part: QZ1\nmaker:  #? who makes it\n"


@pytest.mark.parametrize(
    ("written", "kept"),
    [
        ('date: "1996-04-01"', 'date: "1996-04-01"'),  # other readers make a date of it
        ("revision: 010", "revision: 010"),
        ('maker: "plain words"', "maker: plain words"),
        ("symbol: 'NO'", 'symbol: "NO"'),
        ("title: 'a # b'", 'title: "a # b"'),
        ("title: \"a\\u202eb\"", "title: \"a\\u202eb\""),
        ("title: |\n  one\n  two\n", "title: |-\n  one\n  two"),
        ("points: [[0 us, 0V], [5us, 3.2 V]]", "points: [[0 us, 0V], [5us, 3.2 V]]"),
    ],
)  # fmt: skip
def test_texts_stay_texts(written: str, kept: str) -> None:
    assert format_chip_file(written + "\n") == kept + "\n"


def test_long_text_is_folded_and_reads_the_same() -> None:
    words = " ".join(f"word{n}," for n in range(60))
    text = format_chip_file(f"summary: {words!r}")
    assert max(map(len, text.splitlines())) <= 100
    assert load_data(text) == {"summary": words}


@pytest.mark.parametrize("text", ["", "- a\n- b\n", "plain", "a: [", "a: &x 1\nb: *x\n"])
def test_what_is_no_chip_file_is_one_fault(text: str) -> None:
    with pytest.raises(ChipFileError) as refused:
        format_chip_file(text, "chip.yaml")
    assert str(refused.value).startswith("chip.yaml:")


# A comment or blank line to put into a file: which line, how far in, on its own line or behind.
comments = st.lists(
    st.tuples(st.integers(0, 10_000), st.integers(0, 14), st.sampled_from(["alone", "behind", ""])),
    max_size=12,
)


def add_comments(text: str, additions: list[tuple[int, int, str]]) -> tuple[str, set[str]]:
    lines, words = text.splitlines(), set()
    for number, (at, indent, where) in enumerate(additions):
        word = f"# remark {number} #"
        index = at % (len(lines) + 1)
        if where == "behind" and index < len(lines) and lines[index].strip():
            lines[index] += f"  {word}"
        else:
            lines.insert(index, " " * indent + word if where else "")
        words |= {word} if where else set()
    return "\n".join(lines), words


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(sorted(DEMO)), comments)
def test_comments_anywhere_are_kept_and_formatting_is_stable(
    name: str, additions: list[tuple[int, int, str]]
) -> None:
    text, words = add_comments("\n".join(tidy_demo(name).splitlines()[:120]), additions)
    try:
        before = load_data(text)
    except ChipFileError:  # a comment between the lines of a text cuts it in two
        return
    once = format_chip_file(text)
    shown = " ".join(once.split())  # a remark inside a folded text may be folded with it
    assert all(word in shown for word in words)
    assert format_chip_file(once) == once
    assert drop_defaults(load_data(once)) == drop_defaults(before)


texts = st.text(
    st.characters(codec="utf-8", exclude_characters="\r"), max_size=30
) | st.sampled_from(["- a", "a: b", "x #y", "[", "?", "null", "1996-04-01", "a\nb", "a  b " * 30])
values = st.recursive(
    texts,
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.text("abcµ :#-", min_size=1, max_size=8), inner, max_size=4)
    ),
    max_leaves=25,
)
maps = st.dictionaries(st.sampled_from(["part", "pins", "maker", "x", "y"]), values, min_size=1)


@settings(max_examples=200, deadline=None)
@example({"part": "0\n0\x850"}, None, True)  # next line: YAML breaks the line there
@given(maps, st.sampled_from([None, "'", '"']), st.sampled_from([True, False, None]))
def test_any_map_reads_the_same_afterwards(
    document: dict[str, Any], style: str | None, flow: bool | None
) -> None:
    text = yaml.safe_dump(document, default_style=style, default_flow_style=flow, width=40)
    before = load_data(text)
    once = format_chip_file(text)
    assert drop_defaults(load_data(once)) == drop_defaults(before)
    assert format_chip_file(once) == once


def test_a_fix_replaces_one_word_and_nothing_else() -> None:
    text = "kind: jungel   # what\npins: [{role: 'inptu', symbol: A}]\n"
    fixes = [Fix(1, 7, "jungel", "jungle"), Fix(2, 15, "inptu", "in: put")]
    fixed = apply_fixes(text, fixes)
    assert fixed == 'kind: jungle   # what\npins: [{role: "in: put", symbol: A}]\n'


@pytest.mark.parametrize("fix", [Fix(1, 8, "x", "y"), Fix(9, 1, "x", "y"), Fix(1, 1, "x", "y")])
def test_a_fix_that_does_not_find_what_it_is_for_is_left_out(fix: Fix) -> None:
    assert apply_fixes("kind: jungle\n", [fix]) == "kind: jungle\n"


@settings(max_examples=60)
@given(texts.filter(bool))
def test_a_fix_is_read_as_it_was_meant(words: str) -> None:
    for text, line, column in (("a: [b, c]  # d", 1, 8), ("a:\r\n  x: c\r\n", 2, 6)):
        fixed = load_data(apply_fixes(text, [Fix(line, column, "c", words)]))["a"]
        assert (fixed[1] if isinstance(fixed, list) else fixed["x"]) == words
