"""Explain the rules for chip files.

Each rule is shown with its reason, the way to mend a chip file that breaks it, and two examples:
one breaks the rule, one keeps it. With NAME, only that rule.

\b
  pinfolio rules
  pinfolio rules dc-possible
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import click

from ..chip_file_paths import format_option, json_shape_option, print_lines
from ..command_common import print_json

if TYPE_CHECKING:
    from ....schema.rules.rule import Rule


@click.command(help=__doc__)
@click.argument("name", required=False)
@format_option
@json_shape_option
def command(name: str | None, shape: str) -> None:
    from ...contributing.rule_book import describe_rule, find_rules

    rules = find_rules(name)
    if shape == "json":
        print_json([describe_rule(rule) for rule in rules])
        return
    for rule in rules:
        print_lines(_write_entry(rule))


def _write_entry(rule: Rule) -> Iterator[str]:
    """Yield the lines of a rule in the rule book."""
    kind = "fault: keeps a chip out of a folio" if rule.blocks else "advice"
    yield f"{rule.name} ({kind})"
    yield f"  {rule.title}"
    yield f"  why: {rule.why}"
    yield f"  fix: {rule.fix}"
    yield "  bad:"
    yield from (f"    {line}" for line in rule.bad.splitlines())
    yield "  good:"
    yield from (f"    {line}" for line in rule.good.splitlines())
    yield ""
