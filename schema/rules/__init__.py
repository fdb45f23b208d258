"""The rule book: every rule of a chip file with its reason, its check and two examples."""

from __future__ import annotations

from importlib import import_module
from typing import Final

from ..chips.data import ChipData
from .example import EXAMPLE_CHIP
from .rule import REGISTERED_RULES, Finding, Rule

__all__ = [
    "EXAMPLE_CHIP",
    "RULE_BOOK",
    "Finding",
    "Rule",
    "advise",
    "check_chip",
    "find_rule",
    "name_of_fault",
]

# The chapters in the order of the book; the rules in them register themselves.
for _chapter in (
    "reading", "pins", "names", "voltages", "crystals", "advice", "frequencies", "magnitudes",
    "parameters",
):  # fmt: skip
    import_module(f".{_chapter}", __name__)

RULE_BOOK: Final[tuple[Rule, ...]] = tuple(REGISTERED_RULES.values())
"""Every rule: of reading the file, of the whole chip, and advice, which never blocks."""

_CHIP_RULES: Final = tuple(rule for rule in RULE_BOOK if rule.kind == "whole chip")
_ADVICE: Final = tuple(rule for rule in RULE_BOOK if rule.kind == "advice")
_NAME_OF_FAULT: Final = {fault: rule.name for rule in RULE_BOOK for fault in rule.faults}


def check_chip(chip: ChipData) -> tuple[Finding, ...]:
    """Return every broken rule of the whole chip; empty if it keeps all."""
    return tuple(finding for rule in _CHIP_RULES for finding in rule.find(chip))


def advise(chip: ChipData) -> tuple[Finding, ...]:
    """Return all advice on a chip that keeps the rules; empty if there is none."""
    return tuple(finding for rule in _ADVICE for finding in rule.find(chip))


def find_rule(name: str) -> Rule:
    """Return the rule of this name; raise KeyError if there is none."""
    return REGISTERED_RULES[name]


def name_of_fault(fault: str, found: str = "") -> str:
    """Return the name of the rule behind a fault of a chip file, by its type and the text found.

    >>> name_of_fault("extra_forbidden"), name_of_fault("quantity", "a blank")
    ('key-unknown', 'blank')
    >>> name_of_fault("dc-possible"), name_of_fault("whole_number")
    ('dc-possible', 'value-unreadable')
    """
    if found == "a blank":
        return "blank"
    if fault in REGISTERED_RULES:
        return fault
    return _NAME_OF_FAULT.get(fault, "value-unreadable")
