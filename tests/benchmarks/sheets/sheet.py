"""A sheet of the corpus: a printed table, and the truth that a draft of it is held against."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from sheets.languages import Language

Kind = Literal["csv", "tsv", "semicolon", "markdown", "html", "xlsx", "text"]
KINDS: tuple[Kind, ...] = ("csv", "tsv", "semicolon", "markdown", "html", "xlsx", "text")


@dataclass(frozen=True)
class Level:
    """Limits in base units of ``unit``; None where the table prints none."""

    low: float | None = None
    typ: float | None = None
    high: float | None = None
    unit: str = "V"


@dataclass(frozen=True)
class Value:
    """A level, the cells that print it, and the headings of their columns."""

    level: Level
    printed: tuple[str, ...]
    headings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Pin:
    """A pin as its row prints it.

    ``dc`` is keyed by the condition's English name, empty where the table names none;
    ``function`` is None where the table has none; ``stated`` are cells with their headings (signal
    sizes, frequencies, resistances, texts for numbers) to keep beside the pin or to list.
    """

    number: int
    symbol: str
    function: str | None = None
    dc: dict[str, Value] = field(default_factory=dict)
    stated: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Parameter:
    """A row of a characteristics table: never the DC of a pin."""

    name: str
    pin: int | None
    value: Value


@dataclass(frozen=True)
class Truth:
    """All that a draft may state, and everything it must keep or list."""

    pins: dict[int, Pin] = field(default_factory=dict)
    parameters: tuple[Parameter, ...] = ()
    conditions: dict[str, str] = field(default_factory=dict)  # English name: printed name
    listed: tuple[str, ...] = ()  # texts about no pin that must not be lost


@dataclass(frozen=True)
class Grid:
    """Rows of cells with lines before and after; ``spans`` are (row, column, rows, columns)."""

    rows: list[list[str]]
    before: tuple[str, ...] = ()
    after: tuple[str, ...] = ()
    spans: tuple[tuple[int, int, int, int], ...] = ()


@dataclass(frozen=True)
class Question:
    """A question that must be asked: words of its subject, one of them said, and an answer."""

    subject: tuple[str, ...]
    answer: tuple[str, ...]


@dataclass(frozen=True)
class Case:
    """A quirk shown on a table: grids (several in one file), truth, and the question it needs.

    ``truths`` has more than one member where the answer to the question chooses.
    """

    grids: tuple[Grid, ...]
    truths: tuple[Truth, ...]
    question: Question | None = None


@dataclass(frozen=True)
class Sheet:
    """A case as a file."""

    quirk: str
    kind: Kind
    language: Language
    file_name: str
    content: bytes
    case: Case

    @property
    def name(self) -> str:
        return f"{self.quirk} {self.kind} {self.language}"
