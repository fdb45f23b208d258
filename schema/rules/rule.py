"""A rule of the rule book: one entry holds its name, reason, examples and check.

An entry registers itself where it is written, so a rule is named in one place. There are three
kinds: rules of reading a file, which the reader checks; rules of the whole chip; and advice,
which never keeps a chip out of a folio.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from textwrap import dedent
from typing import Final, Literal, TypedDict, Unpack

from ..chips.data import ChipData
from ..chips.places import Place


@dataclass(frozen=True)
class Problem:
    """A place at which a chip breaks a rule, as the check of the rule yields it."""

    at: Place
    problem: str
    """The fact, culprit first: ``symbol IN is on pins 3 and 4``."""
    remedy: str
    """The way out, a command: ``give each pin a symbol of its own``."""
    write: str | None = None
    """The text to write instead, if one is clearly right."""


@dataclass(frozen=True)
class Finding:
    """A broken rule: its name, the place in the chip file, the problem and its remedy."""

    rule: str
    at: Place
    problem: str
    remedy: str
    write: str | None = None

    @property
    def message(self) -> str:
        """Problem and remedy in one sentence."""
        return f"{self.problem}; {self.remedy}"


Check = Callable[[ChipData], Iterator[Problem]]


@dataclass(frozen=True, eq=False)
class Rule:
    """One rule as the rule book prints it.

    The examples are fragments of a chip file: merged into ``EXAMPLE_CHIP``, ``bad`` breaks this
    rule and no other, ``good`` breaks none.
    """

    name: str
    """Stable: people write it into their notes and programs."""
    kind: Literal["reading", "whole chip", "advice"]
    title: str
    """The state of a chip that keeps the rule, in a sentence."""
    why: str
    fix: str
    """How to mend a chip that breaks it."""
    bad: str
    good: str
    check: Check | None = None
    """None if the reader checks it, or if it compares several chips."""
    faults: tuple[str, ...] = ()
    """Types of validation errors that break this rule of reading."""

    @property
    def blocks(self) -> bool:
        """True if a chip that breaks the rule is kept out of a folio."""
        return self.kind != "advice"

    def find(self, chip: ChipData) -> Iterator[Finding]:
        """Yield each place at which the chip breaks the rule."""
        for problem in self.check(chip) if self.check is not None else ():
            yield Finding(self.name, problem.at, problem.problem, problem.remedy, problem.write)


REGISTERED_RULES: Final[dict[str, Rule]] = {}
"""Every rule by its name, in the order of the rule book."""


class _Entry(TypedDict):
    title: str
    why: str
    fix: str
    bad: str
    good: str


def reading_rule(name: str, *, faults: tuple[str, ...] = (), **entry: Unpack[_Entry]) -> None:
    """Register a rule that the reader of chip files checks.

    ``faults`` are the error types (of pydantic, or of our own validators) that break it.
    """
    _register(Rule(name, "reading", **_tidy(name, entry), faults=faults))


def chip_rule(name: str, **entry: Unpack[_Entry]) -> Callable[[Check], Check]:
    """Register the decorated check as a rule of the whole chip."""

    def register(check: Check) -> Check:
        _register(Rule(name, "whole chip", **_tidy(name, entry), check=check))
        return check

    return register


def advice(name: str, **entry: Unpack[_Entry]) -> Callable[[Check], Check]:
    """Register the decorated check as advice."""

    def register(check: Check) -> Check:
        _register(Rule(name, "advice", **_tidy(name, entry), check=check))
        return check

    return register


def advice_across_chips(name: str, **entry: Unpack[_Entry]) -> None:
    """Register advice that compares several chips, and so is checked where they are read."""
    _register(Rule(name, "advice", **_tidy(name, entry)))


def _register(rule: Rule) -> None:
    """Register a rule; raise TypeError if its name is taken."""
    if rule.name in REGISTERED_RULES:
        raise TypeError(f"rule {rule.name!r} is registered twice; rename one of the two")
    REGISTERED_RULES[rule.name] = rule


def _tidy(name: str, entry: _Entry) -> _Entry:
    """Return the texts of a rule without their indentation; raise TypeError if one is missing."""
    missing = [key for key in _Entry.__annotations__ if not entry.get(key)]
    if missing:
        raise TypeError(f"rule {name!r} has no {', '.join(missing)}; give it beside the name")
    return {
        "title": " ".join(entry["title"].split()),
        "why": " ".join(entry["why"].split()),
        "fix": " ".join(entry["fix"].split()),
        "bad": dedent(entry["bad"]).strip() + "\n",
        "good": dedent(entry["good"]).strip() + "\n",
    }
