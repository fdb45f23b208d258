"""A marking as typed, separated into part number and date or lot codes."""

from __future__ import annotations

import re
from typing import Final, NamedTuple

from ...schema.text import part_key

UNREAD: Final = "?"
"""Placeholder for an illegible character of a marking."""

_LONGEST: Final = 24  # characters
_SHORTEST_DAMAGED: Final = 4

# Date and lot codes are printed below or after the part number: year and week (weeks 01 to 53 of
# ISO 8601), or letters and a number.
_DATE_CODE: Final = re.compile(
    r"(?:19|20)?[0-9]{2}(?:0[1-9]|[1-4][0-9]|5[0-3])[A-Z]{0,2}|[A-Z]{1,2}[0-9]{3,4}[A-Z]?"
)
_LOT_CODE: Final = re.compile(r"[A-Z0-9-]*[0-9][A-Z0-9-]*")


class TypedMarking(NamedTuple):
    """The characters taken for a part number, and the words set aside as date or lot codes."""

    text: str
    codes: tuple[str, ...] = ()

    @property
    def key(self) -> str:
        """The part number normalised for comparison: capitals, digits and ``?``."""
        return UNREAD.join(part_key(piece) for piece in self.text.split(UNREAD))[:_LONGEST]

    @property
    def reasons(self) -> tuple[str, ...]:
        """One sentence for each word set aside."""
        return tuple(f"{word} left aside: date or lot code" for word in self.codes)


def interpret_marking(text: str) -> list[TypedMarking]:
    """Return the whole marking, then the marking without its date or lot codes, if it has any.

    Words on lines after the first are set aside in both when they look like a code.
    """
    first_line, *other_lines = text.strip().splitlines() or [""]
    words_below = [word for line in other_lines for word in line.split()]
    codes_below = [word for word in words_below if _LOT_CODE.fullmatch(word.upper())]
    other_words_below = [word for word in words_below if word not in codes_below]
    full_marking = TypedMarking(" ".join([first_line, *other_words_below]), tuple(codes_below))

    # The first word is the part number, however much it looks like a date code.
    words = full_marking.text.split()
    part_words = words[:1] + [word for word in words[1:] if not _DATE_CODE.fullmatch(word.upper())]
    if len(part_words) == len(words) or not is_marking(" ".join(part_words)):
        return [full_marking]
    date_codes = [word for word in words if word not in part_words]
    return [full_marking, TypedMarking(" ".join(part_words), (*date_codes, *codes_below))]


def is_marking(text: str) -> bool:
    """Return whether a text may be a marking, not a word.

    A marking has four characters or more, one of them a digit or unread, and no run of five
    letters.
    """
    characters = [character for character in text if character.isalnum() or character == UNREAD]
    has_digit = any(character.isdigit() for character in characters) or (
        UNREAD in text and len(set(characters)) > 1
    )
    return (
        has_digit and len(characters) >= _SHORTEST_DAMAGED and not re.search(r"[^\W\d_]{5}", text)
    )
