"""Rules that only the whole chip can be held against, each with its own message."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .chip import Chip


@dataclass(frozen=True)
class Finding:
    """One broken rule: its name, where in the chip (keys and indexes), and what to do."""

    rule: str
    at: tuple[str | int, ...]
    message: str


Rule = Callable[["Chip"], Iterator[Finding]]


def check_chip(chip: Chip) -> tuple[Finding, ...]:
    """Hold a chip against every rule; empty when it passes."""
    return tuple(finding for rule in RULES for finding in rule(chip))


RULES: tuple[Rule, ...] = ()
