"""Lint chip files: errors and advice with their places, and safe fixes.

An error keeps a chip out of a folio; advice does not. A fix is safe where a misspelling leaves one
reading: a key, word or name that is nearly right, or a quantity of which only the signs around the
digits are wrong.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from rapidfuzz import fuzz

from ...loaders.chip_files.canonical_text import Fix, apply_fixes
from ...loaders.chip_files.chip_file import read_chip_bytes, read_located_chip
from ...loaders.chip_files.yaml_positions import Located
from ...loaders.errors import ChipFileError, Fault
from ...loaders.system.atomic_write import write_atomically
from ...schema import Finding
from ...schema.quantities import UNITS, QuantityError, parse_quantity
from ...schema.rules import advise, find_rule, name_of_fault
from .completeness import Completeness, list_unmeasured, measure_completeness
from .drawn_circuit import find_contradictions
from .file_batches import Progress, map_files
from .guesses import Guess, list_guesses
from .unusual_symbols import Naming, find_unusual_symbols, list_namings

_NEARLY_RIGHT: Final = 80  # of 100, rapidfuzz ratio
_MENDABLE: Final = frozenset({"extra_forbidden", "literal_error", "references-exist", "ends-exist"})


@dataclass(frozen=True)
class Note:
    """An error or a piece of advice at one place of a file."""

    rule: str
    line: int
    column: int
    found: str
    expected: str
    write: str | None
    message: str
    """Problem and remedy in one sentence."""
    fix: Fix | None = None
    """The change of the file, where it is safe to make unasked."""

    @property
    def blocks(self) -> bool:
        """Whether it keeps the chip out of a folio."""
        return find_rule(self.rule).blocks

    def document(self) -> dict[str, Any]:
        """Return the note as plain data, with title, reason and fix of its rule."""
        return {
            "kind": "fault" if self.blocks else "advice",
            "rule": self.rule,
            "line": self.line,
            "column": self.column,
            "found": self.found,
            "expected": self.expected,
            "title": find_rule(self.rule).title,
            "why": find_rule(self.rule).why,
            "fix": find_rule(self.rule).fix,
            "write": self.write,
            "safe": self.fix is not None,
        }


@dataclass(frozen=True)
class Linted:
    """The notes on one chip file; part, completeness and symbols only where it is valid."""

    file: str
    notes: tuple[Note, ...]
    part: str | None = None
    completeness: Completeness | None = None
    namings: tuple[Naming, ...] = ()
    guesses: tuple[Guess, ...] = ()
    """What fault finding guesses, since the file does not state it."""
    symbols_at: tuple[tuple[int, int], ...] = ()
    """Line and column of the symbol of each pin."""
    unmeasured: tuple[int, ...] = ()
    """Pins of which nothing is known yet: the file is unfinished there, not wrong."""

    def document(self) -> dict[str, Any]:
        """Return part, completeness and notes as plain data."""
        return {
            "file": self.file,
            "part": self.part,
            "completeness": self.completeness.document() if self.completeness else None,
            "guesses": [vars(guess) for guess in self.guesses],
            "unmeasured": list(self.unmeasured),
            "findings": [note.document() for note in self.notes],
        }


@dataclass(frozen=True)
class LintReport:
    """The notes on all files that were looked at."""

    files: tuple[Linted, ...]

    @property
    def faults(self) -> int:
        """Number of notes that keep a chip out of a folio."""
        return sum(note.blocks for linted in self.files for note in linted.notes)

    @property
    def blanks(self) -> int:
        """Number of faults that are blanks: unfinished, not wrong."""
        return sum(note.rule == "blank" for linted in self.files for note in linted.notes)

    @property
    def advice(self) -> int:
        """Number of notes that are only advice."""
        return sum(len(linted.notes) for linted in self.files) - self.faults

    def document(self) -> dict[str, Any]:
        """Return the notes on every file, and their numbers, as plain data."""
        files = [linted.document() for linted in self.files]
        return {"files": files, "faults": self.faults, "advice": self.advice}


def lint_file(path: Path) -> Linted:
    """Return the notes on one file by itself."""
    name = str(path)
    try:
        chip, located = read_located_chip(read_chip_bytes(path), name)
    except ChipFileError as refused:
        return Linted(name, tuple(_from_fault(fault) for fault in refused.faults))
    # Advice needs a chip without faults: most of it compares values with one another.
    findings = (*advise(chip), *find_contradictions(chip))
    notes = [_from_finding(finding, located) for finding in findings]
    symbol_places = [located.place(("pins", index, "symbol")) for index in range(len(chip.pins))]
    return Linted(
        file=name,
        notes=_sort_notes(notes),
        part=chip.part,
        completeness=measure_completeness(chip),
        namings=list_namings(chip, name),
        guesses=list_guesses(chip),
        symbols_at=tuple(symbol_places),
        unmeasured=tuple(list_unmeasured(chip)),
    )


def lint_files(
    paths: Sequence[Path], progress: Progress | None = None, processes: int | None = None
) -> LintReport:
    """Return the notes on all files, with the advice that comes from comparing them."""
    files = list(map_files(lint_file, paths, progress, processes))
    return LintReport(tuple(_compare_symbols(files)))


def fix_file(path: Path) -> int:
    """Make the safe fixes in a file and return their number. Raises OSError.

    Whole-chip rules are checked only once every value is valid, so this repeats until nothing is
    left to fix.
    """
    total = 0
    while fixes := [note.fix for note in lint_file(path).notes if note.fix is not None]:
        text = read_chip_bytes(path).decode("utf-8-sig")
        mended = apply_fixes(text, fixes)
        if mended == text:
            break
        write_atomically(path, mended)
        total += len(fixes)
    return total


def _compare_symbols(files: list[Linted]) -> list[Linted]:
    """Return the files with the advice that comes from comparing their symbols."""
    symbols_at = {linted.file: linted.symbols_at for linted in files}
    namings = (naming for linted in files for naming in linted.namings)
    symbol_notes: dict[str, list[Note]] = {linted.file: [] for linted in files}
    for naming, finding in find_unusual_symbols(namings):
        place = symbols_at[naming.file][naming.index]
        symbol_notes[naming.file].append(_note(finding, place))
    return [
        replace(linted, notes=_sort_notes([*linted.notes, *symbol_notes[linted.file]]))
        for linted in files
    ]


def _sort_notes(notes: Iterable[Note]) -> tuple[Note, ...]:
    return tuple(sorted(notes, key=lambda note: (note.line, note.column)))


def _from_finding(finding: Finding, located: Located) -> Note:
    return _note(finding, located.place(finding.at))


def _note(finding: Finding, place: tuple[int, int]) -> Note:
    return Note(
        finding.rule, *place, finding.problem, finding.remedy, finding.write, finding.message
    )


def _from_fault(fault: Fault) -> Note:
    rule = name_of_fault(fault.rule, fault.found)
    if rule == "blank":
        example = f", such as {fault.write}" if fault.write else ""
        expected = fault.expected + example
        message = f"a blank: expected {expected}"
        return Note(rule, fault.line, fault.column, "a blank", expected, None, message)
    place = fault.line, fault.column
    return Note(
        rule, *place, fault.found, fault.expected, fault.write, fault.message, _find_safe_fix(fault)
    )


def _find_safe_fix(fault: Fault) -> Fix | None:
    """Return the fix that an error offers, if the text leaves no other reading."""
    quoted = re.search("'(.*)'", fault.found)
    if quoted is None or fault.write is None:
        return None
    word, write = quoted[1], fault.write
    # Other digits are another value, however alike the words are.
    if re.findall("[0-9]+", word) != re.findall("[0-9]+", write):
        return None
    is_misspelt = fault.rule in _MENDABLE and fuzz.ratio(word, write) >= _NEARLY_RIGHT
    is_quantity = fault.rule == "quantity" and _has_wrong_signs(word, write)
    return Fix(fault.line, fault.column, word, write) if is_misspelt or is_quantity else None


def _has_wrong_signs(word: str, write: str) -> bool:
    """Return whether a text has a unit but reads as no quantity: 4,2 V or 4.2 v."""
    has_unit = re.search(r"[^\W\d]|[%°]", word) is not None
    return has_unit and " or " not in write and not any(_is_read_as(word, unit) for unit in UNITS)


def _is_read_as(word: str, unit: str) -> bool:
    try:
        parse_quantity(word, unit)
    except QuantityError:
        return False
    return True
