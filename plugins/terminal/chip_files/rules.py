"""Explain the rules for chip files.

Each rule is shown with its reason, an example that breaks it and one that keeps it; with NAME, only
that rule.

\b
  pinfolio rules
  pinfolio rules dc-possible
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from ..chip_file_paths import format_option, json_shape_option, print_lines
from ..command_common import AnswerIsNo, print_json

if TYPE_CHECKING:
    from ....schema.rules.rule import Rule

_NEAR_ENOUGH = 50  # of 100, rapidfuzz ratio


@click.command(help=__doc__)
@click.argument("name", required=False)
@format_option
@json_shape_option
def command(name: str | None, shape: str) -> None:
    from ....schema.rules import RULE_BOOK, find_rule

    try:
        rules = [find_rule(name)] if name else list(RULE_BOOK)
    except KeyError:
        raise AnswerIsNo(_unknown_rule(str(name), [rule.name for rule in RULE_BOOK])) from None
    if shape == "json":
        print_json([_rule_document(rule) for rule in rules])
        return
    for rule in rules:
        kind = "fault: keeps a chip out of a folio" if rule.blocks else "advice"
        print_lines([f"{rule.name} ({kind})", f"  {rule.why}", "  bad:"])
        print_lines(f"    {line}" for line in rule.bad.splitlines())
        print_lines(["  good:", *(f"    {line}" for line in rule.good.splitlines()), ""])


def _rule_document(rule: Rule) -> dict[str, Any]:
    kind = "fault" if rule.blocks else "advice"
    return {"rule": rule.name, "kind": kind, "why": rule.why, "bad": rule.bad, "good": rule.good}


def _unknown_rule(name: str, known: list[str]) -> str:
    from rapidfuzz import process

    from ....schema.text import visible

    near = process.extractOne(name, known, score_cutoff=_NEAR_ENOUGH)
    hint = f"did you mean {near[0]!r}?" if near else "`pinfolio rules` names them all."
    return f"no rule {visible(name)!r}; {hint}"
