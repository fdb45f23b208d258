"""Every error message can be found by searching the sources for the words that it prints."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SOURCES = [
    p for room in ("schema", "loaders", "plugins") for p in sorted((ROOT / room).rglob("*.py"))
]
NOT_YET: tuple[str, ...] = ()
"""Folders whose code is being replaced."""

STRUCTURED = {
    "AttachmentError", "ChipRuleError", "OlderBundle", "QuantityError", "SystemExit", "UnknownPart",
    "WrongKindError", "FileExistsError",
}  # fmt: skip
"""Errors whose arguments are values; their class writes the sentence."""

ASSEMBLED = {
    "loaders/drafting/column_headings.py": "the faults of all columns that a user names",
    "plugins/notes/note_form.py": "one line for each faulty field",
    "plugins/terminal/bench/compare.py": "the first faults of a chip file, and how many more",
    "plugins/terminal/chip_files/draft.py": "the faults of all columns, a line each",
    "plugins/terminal/chip_files/format.py": "the faults of all files, a line each",
}
"""Files that raise a list of several messages; each says why."""


@dataclass(frozen=True)
class Message:
    """One message raised in the code: its place, and the literal or other expression for it."""

    path: Path
    line: int
    error: str
    expression: ast.expr
    function: ast.AST

    @property
    def place(self) -> str:
        """Return the path within the project."""
        return self.path.relative_to(ROOT).as_posix()

    def __str__(self) -> str:
        return f"{self.place}:{self.line}"


@cache
def parse(path: Path) -> ast.Module:
    """Return the syntax tree of a source file."""
    return ast.parse(path.read_text(encoding="utf-8"))


FAULT_MAKERS = {
    "Fault", "BrokenRule", "Problem", "refusal", "table_error", "error_at", "fault", "refuse",
}  # fmt: skip
"""Calls whose texts are parts of a message: text found, text expected, problem, remedy."""


def find_faults(path: Path) -> Iterator[tuple[str, ast.expr]]:
    """Yield place and text of every part of a fault that a module makes."""
    for node in ast.walk(parse(path)):
        if not isinstance(node, ast.Call):
            continue
        name = ast.unparse(node.func).rpartition(".")[2]
        for argument in node.args if name in FAULT_MAKERS else ():
            for literal in list_literals(argument):
                yield f"{path.relative_to(ROOT).as_posix()}:{literal.lineno}", literal


def find_raised(path: Path) -> Iterator[Message]:
    """Yield every message that a module raises with a text."""
    functions = [
        n for n in ast.walk(parse(path)) if isinstance(n, ast.FunctionDef | ast.AsyncFunctionDef)
    ]
    for function in functions:
        for node in ast.walk(function):
            if not (
                isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call) and node.exc.args
            ):
                continue
            error = ast.unparse(node.exc.func).rpartition(".")[2]
            if error[:1].isupper() and error not in STRUCTURED:
                yield Message(path, node.lineno, error, node.exc.args[0], function)


MESSAGES = list({str(m): m for path in SOURCES for m in find_raised(path)
                 if not m.place.startswith(NOT_YET)}.values())  # fmt: skip


def list_literals(expression: ast.expr, function: ast.AST | None = None) -> list[ast.expr]:
    """Return the string literals that an expression chooses from; none if it is not literal.

    A name is replaced by the literals that ``function`` assigns to it.
    """
    if isinstance(expression, ast.Name) and function is not None:
        values = [
            node.value
            for node in ast.walk(function)
            if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == expression.id
        ]
        return [literal for value in values for literal in list_literals(value)]
    if isinstance(expression, ast.JoinedStr) or (
        isinstance(expression, ast.Constant) and isinstance(expression.value, str)
    ):
        return [expression]
    if isinstance(expression, ast.IfExp):
        return list_literals(expression.body) + list_literals(expression.orelse)
    return []


def list_fixed_pieces(literal: ast.expr) -> list[str]:
    """Return the text of a literal between its placeholders."""
    parts = literal.values if isinstance(literal, ast.JoinedStr) else [literal]
    return [str(part.value) for part in parts if isinstance(part, ast.Constant)]


LITERALS = [(m, literal) for m in MESSAGES for literal in list_literals(m.expression, m.function)]
FAULTS = [(path, *fault) for path in SOURCES for fault in find_faults(path)]


@cache
def read_lines(path: Path) -> tuple[str, ...]:
    """Return the lines of a source file, quotes without their escapes."""
    text = path.read_text(encoding="utf-8")
    return tuple(text.replace("\\'", "'").replace('\\"', '"').splitlines())


def is_searchable(literal: ast.expr, path: Path) -> bool:
    """Return whether every fixed stretch of a literal, with its words whole, is on one line."""
    stretches = [piece.strip() for piece in list_fixed_pieces(literal)]
    return all(any(stretch in line for line in read_lines(path)) for stretch in stretches)


@pytest.mark.parametrize(
    ("message", "literal"), LITERALS, ids=[str(message) for message, _ in LITERALS]
)
def test_each_fixed_stretch_of_a_message_is_on_one_line_of_the_source(
    message: Message, literal: ast.expr
) -> None:
    assert any(piece.split() for piece in list_fixed_pieces(literal)), "no words of its own"
    assert is_searchable(literal, message.path)


def test_the_parts_of_every_fault_are_on_one_line_of_the_source() -> None:
    assert [place for path, place, literal in FAULTS if not is_searchable(literal, path)] == []


def test_no_message_says_found_before_its_culprit() -> None:
    begins = {
        str(message): pieces[0]
        for message, literal in LITERALS
        if (pieces := list_fixed_pieces(literal))
        and not message.place.startswith("plugins/diagnosis")
    }
    assert [place for place, words in begins.items() if words.startswith("found ")] == []


def is_glued(message: Message) -> bool:
    """Return whether a message is added or joined from texts, outside the values of a literal."""
    if list_literals(message.expression):
        return False
    return any(
        isinstance(node, ast.BinOp) or (isinstance(node, ast.Attribute) and node.attr == "join")
        for node in ast.walk(message.expression)
    )


def test_no_message_is_glued_together_where_it_is_raised() -> None:
    assert {message.place for message in MESSAGES if is_glued(message)} == set(ASSEMBLED)


FACES = [(m, x) for m, x in LITERALS if m.place.startswith(("plugins/terminal/", "plugins/web/"))]


@pytest.mark.parametrize(("message", "literal"), FACES, ids=[str(m) for m, _ in FACES])
def test_a_message_of_the_faces_names_the_culprit_first(
    message: Message, literal: ast.expr
) -> None:
    first = literal.values[0] if isinstance(literal, ast.JoinedStr) else literal
    begins = str(first.value) if isinstance(first, ast.Constant) else "{culprit}"
    assert not begins.lower().startswith(("found ", "expected ", "cannot ", "error"))
