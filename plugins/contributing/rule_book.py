"""The rule book for readers: rules by name, and each rule as plain data."""

from __future__ import annotations

from typing import Any, Final

from ...schema.errors import Unknown
from ...schema.rules import RULE_BOOK, find_rule
from ...schema.rules.rule import Rule
from ...schema.text import visible

_NEAR_ENOUGH: Final = 50  # of 100, rapidfuzz ratio


class UnknownRule(Unknown):
    """No rule has this name; the message names the nearest."""


def find_rules(name: str | None) -> list[Rule]:
    """Return the rule of this name, or without a name all rules. Raises UnknownRule."""
    if name is None:
        return list(RULE_BOOK)
    try:
        return [find_rule(name)]
    except KeyError:
        raise UnknownRule(f"no rule {visible(name)!r}; {_suggest_rule(name)}") from None


def describe_rule(rule: Rule) -> dict[str, Any]:
    """Return a rule as plain data: kind, title, reason, fix and both examples."""
    return {
        "rule": rule.name,
        "kind": "fault" if rule.blocks else "advice",
        "title": rule.title,
        "why": rule.why,
        "fix": rule.fix,
        "bad": rule.bad,
        "good": rule.good,
    }


def _suggest_rule(name: str) -> str:
    from rapidfuzz import process  # needed for an unknown name only

    nearest = process.extractOne(name, [rule.name for rule in RULE_BOOK], score_cutoff=_NEAR_ENOUGH)
    return f"did you mean {nearest[0]!r}?" if nearest else "`pinfolio rules` names them all."
