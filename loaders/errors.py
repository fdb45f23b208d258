"""Faults of files that people write: place, text found, text expected, suggestion."""

from __future__ import annotations

from dataclasses import dataclass

from ..schema.errors import PinfolioError
from ..schema.text import visible

_LONGEST_FOUND = 60


@dataclass(frozen=True)
class Fault:
    """One fault at one place; line and column count from 1."""

    file: str
    line: int
    column: int
    found: str
    expected: str
    write: str | None = None
    """The nearest right word, or the text to put there."""
    rule: str = ""
    """Stable name of the broken rule, where it has one."""

    @property
    def message(self) -> str:
        """The fault in one sentence, without its place and the text to write."""
        found_text = visible(self.found)
        if len(found_text) > _LONGEST_FOUND:
            found_text = found_text[:_LONGEST_FOUND] + "…"
        return f"{found_text}: expected {visible(self.expected)}"

    def __str__(self) -> str:
        advice = f"; write '{visible(self.write)}'" if self.write else ""
        place = f"{visible(self.file)}:{self.line}:{self.column}"
        return f"{place}: {self.message}{advice}"


@dataclass(frozen=True)
class BrokenRule(Fault):
    """A broken rule of the whole chip: ``found`` is the problem, ``expected`` the remedy."""

    @property
    def message(self) -> str:
        """Problem and remedy in one sentence."""
        return visible(f"{self.found}; {self.expected}")


class InvalidFileError(PinfolioError):
    """All faults found in a file that people write, in the order of their lines."""

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        self.faults = faults
        super().__init__("\n".join(str(fault) for fault in faults))

    def __reduce__(self) -> tuple[type[InvalidFileError], tuple[tuple[Fault, ...]]]:
        """Pass between processes by the faults, from which the message is made again."""
        return type(self), (self.faults,)


class ChipFileError(InvalidFileError):
    """The faults of chip files."""
