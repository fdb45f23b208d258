"""The rule book: every rule of a chip file, what it is for, an example that breaks it and one
that keeps it.

Names are stable: people write them into their notes and programs. The examples are fragments of a
chip file: put into ``EXAMPLE`` in place of what stands there, the bad one breaks its rule and no
other, the good one breaks none.
"""

from __future__ import annotations

from functools import cache
from typing import Final

from .rule_examples import ADVICE, EXAMPLE, READING, WHOLE_CHIP, BookRule

__all__ = ["EXAMPLE", "RULE_BOOK", "BookRule", "book_rule", "rule_name"]

RULE_BOOK: Final[tuple[BookRule, ...]] = (*READING, *WHOLE_CHIP, *ADVICE)
"""All rules: of reading the file, of the whole chip, and advice, which never blocks."""

# What the reader calls a fault, and what it is called here; all others are values out of place.
_READING_NAMES: Final[dict[str, str]] = {
    "": "file-unreadable",
    "yaml": "file-unreadable",
    "missing": "key-missing",
    "extra_forbidden": "key-unknown",
    "literal_error": "word-unknown",
    "union_tag_invalid": "word-unknown",
    "quantity": "quantity-unreadable",
    "waveform": "waveform-shape",
}


@cache
def _by_name() -> dict[str, BookRule]:
    return {rule.name: rule for rule in RULE_BOOK}


def book_rule(name: str) -> BookRule:
    """The rule of this name; raises KeyError when there is none."""
    return _by_name()[name]


def rule_name(fault_rule: str, found: str = "") -> str:
    """The stable name of the rule behind a fault of a chip file, given what was found there.

    >>> rule_name("extra_forbidden"), rule_name("quantity", "a blank"), rule_name("dc-possible")
    ('key-unknown', 'blank', 'dc-possible')
    """
    if found == "a blank":
        return "blank"
    if fault_rule in _by_name():
        return fault_rule
    return _READING_NAMES.get(fault_rule, "value-unreadable")
