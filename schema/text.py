"""Text from people: comparing part numbers, suggesting words, escaping hostile characters."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from typing import Final

# General categories (Unicode Standard, section 4.5) that act on a terminal or a line instead of
# being seen: controls, format characters (bidirectional marks, zero width), lone surrogates, line
# and paragraph separators.
_ACTS: Final = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})
# Letters and marks that show nothing: grapheme joiner, Hangul fillers, variation selectors.
_BLANK: Final = frozenset("\u034f\u115f\u1160\u3164\uffa0\u180b\u180c\u180d\u180f").union(
    map(chr, range(0xFE00, 0xFE10)), map(chr, range(0xE0100, 0xE01F0))
)

_SEEN_ASCII: Final = bytes(range(0x20, 0x7F))

_CLOSE_ENOUGH: Final = 60  # of 100, rapidfuzz ratio


def part_key(text: str) -> str:
    """Return the letters and digits of a marking in capitals, which is how two are compared.

    >>> part_key("µqz-5710 n")
    'UQZ5710N'
    """
    plain = unicodedata.normalize("NFKC", text).replace("μ", "U").upper()
    kept = "".join(sign for sign in plain if sign.isalnum())
    return unicodedata.normalize("NFKC", kept)


def find_nearest_word(word: str, known: Iterable[str]) -> str | None:
    """Return the known word that was probably meant, or None if none is close.

    >>> find_nearest_word("capaciter", ["resistor", "capacitor"])
    'capacitor'
    """
    from rapidfuzz import process  # not needed where nothing is wrong

    best = process.extractOne(word, list(known), score_cutoff=_CLOSE_ENOUGH)
    return best[0] if best else None


def format_count(count: int, noun: str) -> str:
    """Return the number with its noun, in the plural where needed.

    >>> format_count(1, "fault"), format_count(0, "blank")
    ('1 fault', '0 blanks')
    """
    return f"{count:,} {noun}" + "s" * (count != 1)


def visible(text: str, *, keep_lines: bool = False) -> str:
    r"""Return the text with everything that acts instead of being seen escaped: ESC as ``\x1b``.

    Control characters, bidirectional marks and overrides, and zero-width characters become
    escapes as in a Python string. ``keep_lines`` leaves newline and tab as they are. Escaping
    twice changes nothing.

    >>> visible("CVBS\x1b[2J\u202eTUO")
    'CVBS\\x1b[2J\\u202eTUO'
    """
    # A page has many characters, nearly all of them seen ASCII: taking that out first is quickest.
    plain = _SEEN_ASCII + b"\n\t" if keep_lines else _SEEN_ASCII
    unusual = text.encode("utf-8", "surrogatepass").translate(None, plain)
    signs = set(unusual.decode("utf-8", "surrogatepass"))
    acting = [sign for sign in signs if not _is_seen(sign)]
    return text.translate({ord(sign): _escape(sign) for sign in acting}) if acting else text


def _is_seen(sign: str) -> bool:
    return unicodedata.category(sign) not in _ACTS and sign not in _BLANK


def _escape(sign: str) -> str:
    code = ord(sign)
    if code <= 0xFF:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code <= 0xFFFF else f"\\U{code:08x}"
