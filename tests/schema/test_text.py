"""Part numbers compare by their letters and digits; hostile text is shown, not obeyed."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from pinfolio.schema.text import part_key, visible

any_text = st.text(st.characters())  # lone surrogates too


@pytest.mark.parametrize(
    ("written", "key"),
    [
        ("QZ5710", "QZ5710"),
        ("qz 5710-n", "QZ5710N"),
        ("QZ/5710.N", "QZ5710N"),
        ("µQZ10", "UQZ10"),  # micro sign U+00B5
        ("μQZ10", "UQZ10"),  # Greek mu U+03BC
        ("uqz10", "UQZ10"),
        ("ＱＺ５７１０", "QZ5710"),  # full width
        ("Q\u200bZ\u202e57\x1b10", "QZ5710"),
        ("---", ""),
    ],
)
def test_part_key(written: str, key: str) -> None:
    assert part_key(written) == key


@given(any_text)
@example("ᄀ-ᅡ")  # two letters that become one when the dash between them goes
@example("ΐ")
def test_a_key_is_its_own_key(text: str) -> None:
    assert part_key(part_key(text)) == part_key(text)
    assert all(sign.isalnum() for sign in part_key(text))


@given(st.text("QZ0159 -/._", max_size=20))
def test_case_and_separators_do_not_count(marking: str) -> None:
    bare = marking.translate(str.maketrans("", "", " -/._"))
    assert part_key(marking.lower()) == part_key(bare) == bare


@pytest.mark.parametrize(
    ("text", "seen"),
    [
        ("4.7 kΩ ± 5 %, 10 µF", "4.7 kΩ ± 5 %, 10 µF"),
        ("\x1b[31mred", r"\x1b[31mred"),
        ("\x9b31m", r"\x9b31m"),  # CSI as one C1 character
        ("\x07\x00\x7f", r"\x07\x00\x7f"),
        ("a\rb", r"a\x0db"),
        ("\u202eevil", r"\u202eevil"),  # right-to-left override
        ("\u2066a\u2069", r"\u2066a\u2069"),
        ("\u200e\u200f\u061c", r"\u200e\u200f\u061c"),
        ("ze\u200bro\u200d\ufeff\u2060", r"ze\u200bro\u200d\ufeff\u2060"),
        ("so\u00adft", r"so\xadft"),
        ("a\u2028b\u2029c", r"a\u2028b\u2029c"),
        ("\u3164", r"\u3164"),
        ("A\ufe0f", r"A\ufe0f"),
        ("\U000e0041", r"\U000e0041"),  # tag character
        ("\ud800", r"\ud800"),
        ("a\nb\tc", r"a\x0ab\x09c"),
    ],
)
def test_what_acts_is_spelt_out(text: str, seen: str) -> None:
    assert visible(text) == seen


def test_newline_and_tab_stay_when_asked() -> None:
    assert visible("a\nb\tc\r\x1b", keep_lines=True) == "a\nb\tc\\x0d\\x1b"


@given(any_text, st.booleans())
def test_nothing_that_acts_is_left_and_twice_is_once(text: str, keep_lines: bool) -> None:
    seen = visible(text, keep_lines=keep_lines)
    left = {unicodedata.category(sign) for sign in seen if not (keep_lines and sign in "\n\t")}
    assert not left & {"Cc", "Cf", "Cs", "Zl", "Zp"}
    assert visible(seen, keep_lines=keep_lines) == seen
    seen.encode()  # a lone surrogate would fail here


@given(st.text(st.characters(categories=["L", "N", "P", "Sm"], max_codepoint=0x3FF)))
def test_ordinary_text_stays_as_it_is(text: str) -> None:
    assert visible(text) == text
