"""List the mutants of a module: its source with one token changed.

Source of the operators: J. H. Andrews, L. C. Briand and Y. Labiche, "Is mutation an appropriate
tool for testing experiments?", ICSE 2005 (relational, arithmetic, constant, negated decision,
deleted statement).
"""

from __future__ import annotations

import ast
import difflib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Final

_COMPARISONS: Final = {
    "<": "<=", "<=": "<", ">": ">=", ">=": ">", "==": "!=", "!=": "==",
    "is": "is not", "is not": "is", "in": "not in", "not in": "in",
}  # fmt: skip
_ARITHMETIC: Final = {"+": "-", "-": "+", "*": "/", "/": "*"}
_LOGIC: Final = {"and": "or", "or": "and"}

_CACHES: Final = {"cache", "lru_cache"}
"""Decorators whose numbers change the time that an answer takes, and no answer."""


@dataclass(frozen=True)
class Mutant:
    """One change to one module: the characters from ``start`` to ``end`` become ``text``."""

    root: Path
    name: str
    """The module's path from ``root``, with forward slashes."""

    start: int
    end: int
    text: str
    function_line: int
    """The first line of the innermost function around the change, decorators included; else 0."""

    @cached_property
    def source(self) -> str:
        """The module as it is."""
        return (self.root / self.name).read_text(encoding="utf-8")

    @cached_property
    def mutated(self) -> str:
        """The module with the change in it."""
        return self.source[: self.start] + self.text + self.source[self.end :]

    @property
    def key(self) -> str:
        """The module and the changed line before and after, without its comment."""
        before, after = _line_at(self.source, self.start), _line_at(self.mutated, self.start)
        return f"{self.name}: {before} -> {after}"

    def diff(self) -> str:
        """Return the change as a unified diff, with one line of context."""
        before, after = (text.splitlines(keepends=True) for text in (self.source, self.mutated))
        return "".join(difflib.unified_diff(before, after, self.name, self.name, n=1))


def _line_at(text: str, place: int) -> str:
    line = text[text.rfind("\n", 0, place) + 1 :].partition("\n")[0]
    return line.partition("  #")[0].strip()


class _Source:
    """A module's text, its tree, and characters counted from its start."""

    def __init__(self, root: Path, name: str) -> None:
        self.root = root
        self.name = name
        self.text = (root / name).read_text(encoding="utf-8")
        self.tree = ast.parse(self.text)
        self._lines = self.text.splitlines(keepends=True)
        lengths = [0, *(len(line) for line in self._lines)]
        self._starts = [sum(lengths[: n + 1]) for n in range(len(lengths))]
        self.function_line_of = dict(_list_function_lines(self.tree, 0))

    def place(self, line: int, column: int) -> int:
        """Return the character at a line (from 1) and a column in bytes, as ``ast`` counts."""
        text = self._lines[line - 1].encode()[:column].decode()
        return self._starts[line - 1] + len(text)

    def span(self, node: ast.expr) -> tuple[int, int]:
        """Return the first character of a node and the one after its last."""
        assert node.end_lineno is not None
        assert node.end_col_offset is not None
        return (
            self.place(node.lineno, node.col_offset),
            self.place(node.end_lineno, node.end_col_offset),
        )

    def swap(self, left: ast.expr, right: ast.expr, table: dict[str, str]) -> Iterator[Mutant]:
        """Yield the operator between two operands replaced by its partner in ``table``."""
        start, end = self.span(left)[1], self.span(right)[0]
        between = self.text[start:end]
        operator = between.strip("() \n\t\\")
        if operator in table:
            first = start + between.index(operator)
            yield self._change(left, first, first + len(operator), table[operator])

    def replace(self, node: ast.expr, text: str) -> Mutant:
        """Return a node replaced by other code."""
        return self._change(node, *self.span(node), text)

    def _change(self, node: ast.expr, start: int, end: int, text: str) -> Mutant:
        return Mutant(self.root, self.name, start, end, text, self.function_line_of[id(node)])


def _list_function_lines(node: ast.AST, line: int) -> Iterator[tuple[int, int]]:
    """Yield the id of each node with the first line of the function around it."""
    if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
        line = min(part.lineno for part in (node, *node.decorator_list))
    yield id(node), line
    for child in ast.iter_child_nodes(node):
        yield from _list_function_lines(child, line)


def list_mutants(root: Path, name: str) -> list[Mutant]:
    """Return every mutant of the module at ``root / name``, without those that change no answer.

    Left alone are annotations, docstrings and other text, f-strings, the messages of errors,
    ``__repr__``, sizes of caches.
    """
    source = _Source(root, name)
    skipped = {id(inner) for node in ast.walk(source.tree) for inner in _untouched(node)}
    return [
        mutant
        for node in ast.walk(source.tree)
        if id(node) not in skipped
        for mutant in _mutate_node(source, node)
    ]


def _untouched(node: ast.AST) -> Iterator[ast.AST]:
    """Yield the nodes below one in which a change would show nothing, or has no exact place."""
    untouched = [
        getattr(node, name) for name in ("annotation", "returns") if getattr(node, name, None)
    ]
    match node:
        case ast.JoinedStr() | ast.Raise():  # Python 3.11 gives no exact places in an f-string
            untouched.append(node)
        case ast.FunctionDef(name="__repr__"):
            untouched.append(node)
        case ast.Call(func=ast.Name(id=name)) if name in _CACHES:
            untouched.append(node)
        case ast.Subscript(slice=place):  # an index has an operator of its own: first and last
            untouched.append(place)
    for part in untouched:
        yield from ast.walk(part)


def _mutate_node(source: _Source, node: ast.AST) -> Iterator[Mutant]:
    match node:
        case ast.Compare(left=left, comparators=[right]):
            yield from source.swap(left, right, _COMPARISONS)
        case ast.BinOp(left=left, right=right):
            yield from source.swap(left, right, _ARITHMETIC)
        case ast.BoolOp(values=[left, right, *_]):
            yield from source.swap(left, right, _LOGIC)
        case ast.UnaryOp(op=ast.Not(), operand=operand):
            yield source.replace(node, f"({ast.unparse(operand)})")
        case ast.Constant(value=int() | float() as number) if not isinstance(number, bool):
            nudged = number + 1 if isinstance(number, int) else number * 1.25
            for other in sorted({2 * number if number else 1, nudged} - {number}):
                yield source.replace(node, repr(other))
        case ast.Return(value=ast.expr() as value) if not isinstance(value, ast.Constant):
            yield source.replace(value, "None")
        case ast.Subscript(slice=ast.Constant(value=0) as first):
            yield source.replace(first, "-1")
        case ast.Subscript(slice=ast.UnaryOp(op=ast.USub(), operand=ast.Constant(value=1)) as last):
            yield source.replace(last, "0")
