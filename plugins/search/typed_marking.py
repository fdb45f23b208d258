"""A marking as somebody typed it: what of it is part number, and what is date or lot code."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from ...schema.text import part_key

UNREAD: Final = "?"
"""A sign of a marking that could not be read."""

_LONGEST: Final = 24
_SHORTEST_DAMAGED: Final = 4

# Date and lot codes as they stand below or behind the part number: year and week (ISO 8601 weeks
# 01 to 53), a letter and a number.
_DATE_CODE: Final = re.compile(
    r"(?:19|20)?[0-9]{2}(?:0[1-9]|[1-4][0-9]|5[0-3])[A-Z]{0,2}|[A-Z]{1,2}[0-9]{3,4}[A-Z]?"
)
_LOT_CODE: Final = re.compile(r"[A-Z0-9-]*[0-9][A-Z0-9-]*")


@dataclass(frozen=True)
class TypedMarking:
    """What was typed: the part that is looked for, and what is no part of a part number."""

    text: str
    aside: tuple[str, ...] = ()

    @property
    def key(self) -> str:
        """The marking as it is compared: capitals, digits and ``?``."""
        return UNREAD.join(part_key(piece) for piece in self.text.split(UNREAD))[:_LONGEST]

    @property
    def reasons(self) -> tuple[str, ...]:
        """What was set aside, in words."""
        return tuple(f"{word} left aside: date or lot code" for word in self.aside)


def interpret_marking(text: str) -> list[TypedMarking]:
    """The marking whole, and without the words that are date or lot codes, if it has any."""
    first, *below = text.strip().splitlines() or [""]
    aside = [w for line in below for w in line.split() if _LOT_CODE.fullmatch(w.upper())]
    kept = [w for line in below for w in line.split() if w not in aside]
    whole = TypedMarking(" ".join([first, *kept]), tuple(aside))
    words = whole.text.split()
    left = words[:1] + [word for word in words[1:] if not _DATE_CODE.fullmatch(word.upper())]
    if len(left) == len(words) or not is_marking(" ".join(left)):
        return [whole]
    codes = [word for word in words if word not in left]
    return [whole, TypedMarking(" ".join(left), (*codes, *aside))]


def is_marking(text: str) -> bool:
    """Four signs or more, one of them a digit or not read, and no long word among them."""
    signs = [sign for sign in text if sign.isalnum() or sign == UNREAD]
    told = any(sign.isdigit() for sign in signs) or (UNREAD in text and len(set(signs)) > 1)
    return told and len(signs) >= _SHORTEST_DAMAGED and not re.search(r"[^\W\d_]{5}", text)
