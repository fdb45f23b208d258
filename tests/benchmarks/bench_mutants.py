"""Mutation run: small faults planted in the code, and the share of them that the tests notice.

Run by hand, since it takes minutes: ``pytest tests/benchmarks/bench_mutants.py -s``. Each mutant
changes one token of one module in a scratch copy of the tree; then the nearest tests run there.
A mutant is killed when a test fails or runs out of time; one that every test lets pass survives,
and is printed as a diff. PINFOLIO_MUTANTS is the number of mutants in each room (10),
PINFOLIO_MUTANT_SEED chooses them (1), PINFOLIO_MUTANT_ROOMS names the rooms (all of them),
PINFOLIO_MUTANT_TIMEOUT_S bounds one run of tests (240).

Source of the operators: J. H. Andrews, L. C. Briand and Y. Labiche, "Is mutation an appropriate
tool for testing experiments?", ICSE 2005 (relational, arithmetic, constant, negated decision,
deleted statement).
"""

from __future__ import annotations

import ast
import difflib
import os
import random
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import pytest

ROOT: Final = Path(__file__).parents[2]
NUMBER: Final = int(os.environ.get("PINFOLIO_MUTANTS", "10"))
SEED: Final = int(os.environ.get("PINFOLIO_MUTANT_SEED", "1"))
TIMEOUT_S: Final = float(os.environ.get("PINFOLIO_MUTANT_TIMEOUT_S", "240"))

# Code of each room, then the folders of its tests, nearest first.
ROOMS: Final[dict[str, tuple[tuple[str, ...], tuple[str, ...]]]] = {
    "schema/waveforms": (
        ("schema/waveforms/**/*.py",),
        ("tests/schema/waveforms/test_*.py", "tests/published/test_*.py"),
    ),
    "schema/measuring": (
        ("schema/measuring/*.py",),
        ("tests/schema/measuring/test_*.py", "tests/plugins/instruments/test_*.py"),
    ),
    "plugins/readings": (("plugins/readings/*.py",), ("tests/plugins/readings/test_*.py",)),
    "plugins/instruments": (
        ("plugins/instruments/*.py",),
        ("tests/plugins/instruments/test_*.py",),
    ),
    "loaders/shop/merging": (
        ("loaders/shop/merging.py",),
        ("tests/loaders/shop/test_merging.py", "tests/plugins/notes/test_*.py"),
    ),
    "plugins/search": (("plugins/search/*.py",), ("tests/plugins/search/test_*.py",)),
    "plugins/cards": (("plugins/cards/*.py",), ("tests/plugins/cards/test_*.py",)),
}
CHOSEN_ROOMS: Final = os.environ.get("PINFOLIO_MUTANT_ROOMS", " ".join(ROOMS)).split()

_COMPARISONS: Final = {
    "<": "<=", "<=": "<", ">": ">=", ">=": ">", "==": "!=", "!=": "==",
    "is": "is not", "is not": "is", "in": "not in", "not in": "in",
}  # fmt: skip
_ARITHMETIC: Final = {"+": "-", "-": "+", "*": "/", "/": "*"}
_LOGIC: Final = {"and": "or", "or": "and"}


@dataclass(frozen=True)
class Mutant:
    """One change to one module: the characters from ``start`` to ``end`` become ``text``."""

    path: Path
    start: int
    end: int
    text: str

    def mutate(self) -> str:
        """Return the module's source with the change in it."""
        source = self.path.read_text(encoding="utf-8")
        return source[: self.start] + self.text + source[self.end :]

    def diff(self) -> str:
        """Return the change as a unified diff, with one line of context."""
        name = str(self.path.relative_to(ROOT))
        before = self.path.read_text(encoding="utf-8").splitlines(keepends=True)
        after = self.mutate().splitlines(keepends=True)
        return "".join(difflib.unified_diff(before, after, name, name, n=1))


class _Source:
    """A module's text, its tree, and characters counted from its start."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.text = path.read_text(encoding="utf-8")
        self.tree = ast.parse(self.text)
        self._lines = self.text.splitlines(keepends=True)
        lengths = [0, *(len(line) for line in self._lines)]
        self._starts = [sum(lengths[: n + 1]) for n in range(len(lengths))]

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
            yield Mutant(self.path, first, first + len(operator), table[operator])

    def replace(self, node: ast.expr, text: str) -> Mutant:
        """Return a node replaced by other code."""
        return Mutant(self.path, *self.span(node), text)


def list_mutants(path: Path) -> list[Mutant]:
    """Return every mutant of a module; annotations, f-strings and docstrings are left alone."""
    source = _Source(path)
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
    if isinstance(node, ast.JoinedStr):  # positions inside f-strings are not exact in Python 3.11
        untouched.append(node)
    if isinstance(node, ast.Subscript):  # an index has an operator of its own: first and last
        untouched.append(node.slice)
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
            yield source.replace(node, repr(2 * number if number else 1))
            nudged = number + 1 if isinstance(number, int) else number * 1.25
            yield source.replace(node, repr(nudged))
        case ast.Return(value=ast.expr() as value) if not isinstance(value, ast.Constant):
            yield source.replace(value, "None")
        case ast.Subscript(slice=ast.Constant(value=0) as first):
            yield source.replace(first, "-1")
        case ast.Subscript(slice=ast.UnaryOp(op=ast.USub(), operand=ast.Constant(value=1)) as last):
            yield source.replace(last, "0")


def sample_mutants(room: str) -> list[Mutant]:
    """Return NUMBER mutants of a room, the same for the same seed and the same code."""
    patterns, _ = ROOMS[room]
    paths = sorted({path for pattern in patterns for path in ROOT.glob(pattern)})
    mutants = [mutant for path in paths for mutant in list_mutants(path)]
    return random.Random(f"{SEED} {room}").sample(mutants, min(NUMBER, len(mutants)))


def find_tests(room: str, path: Path) -> list[list[str]]:
    """Return the nearest tests of a module: those of its name, and the published checks of it.

    Each list holds paths from ROOT; the second, the other tests of the room, runs only when the
    first lets a mutant pass.
    """
    module = ".".join(path.relative_to(ROOT).with_suffix("").parts)
    named = sorted((ROOT / "tests").rglob(f"test_{path.stem}.py"))
    published = sorted((ROOT / "tests" / "published").glob("test_*.py"))
    named += [t for t in published if f"pinfolio.{module} import" in t.read_text(encoding="utf-8")]
    _, patterns = ROOMS[room]
    folder = sorted({test for pattern in patterns for test in ROOT.glob(pattern)} - set(named))
    stages = (dict.fromkeys(named), folder)
    return [[str(test.relative_to(ROOT)) for test in stage] for stage in stages if stage]


class Scratch:
    """A copy of the tree that is imported in place of the installed package."""

    def __init__(self, folder: Path) -> None:
        self.tree = folder / "pinfolio"  # the root of the repository is the package
        unwanted = shutil.ignore_patterns(".*", "*.egg-info", "build", "__pycache__")
        shutil.copytree(ROOT, self.tree, ignore=unwanted)
        self.environment = {
            **os.environ, "PYTHONPATH": str(folder), "PYTHONDONTWRITEBYTECODE": "1",
        }  # fmt: skip

    def run_tests(self, tests: list[str], timeout_s: float = TIMEOUT_S) -> bool:
        """Return whether the tests all pass in time."""
        command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *tests]
        try:
            run = subprocess.run(
                command, cwd=self.tree, env=self.environment, timeout=timeout_s,
                check=False, capture_output=True,
            )  # fmt: skip
        except subprocess.TimeoutExpired:
            return False
        return run.returncode == pytest.ExitCode.OK

    def survives(self, mutant: Mutant, stages: list[list[str]]) -> bool:
        """Return whether every nearest test passes with a mutant in the tree."""
        place = self.tree / mutant.path.relative_to(ROOT)
        place.write_text(mutant.mutate(), encoding="utf-8")
        try:
            return all(self.run_tests(stage) for stage in stages)
        finally:
            shutil.copy(mutant.path, place)


@pytest.fixture(scope="module")
def scratch(tmp_path_factory: pytest.TempPathFactory) -> Scratch:
    made = Scratch(tmp_path_factory.mktemp("mutants"))
    found = subprocess.run(
        [sys.executable, "-c", "import pinfolio.schema as s; print(s.__file__)"],
        cwd=made.tree, env=made.environment, check=True, capture_output=True, text=True,
    )  # fmt: skip
    assert Path(found.stdout.strip()).is_relative_to(made.tree), "the copy must be what is tested"
    return made


@pytest.mark.parametrize("room", CHOSEN_ROOMS)
def test_mutants(room: str, scratch: Scratch, capsys: pytest.CaptureFixture[str]) -> None:
    mutants = sample_mutants(room)
    tests = {test for m in mutants for stage in find_tests(room, m.path) for test in stage}
    assert scratch.run_tests(sorted(tests), 4 * TIMEOUT_S), (
        "the tests must pass on the code as it is"
    )
    survivors = [m for m in mutants if scratch.survives(m, find_tests(room, m.path))]
    killed = len(mutants) - len(survivors)
    with capsys.disabled():
        print(f"\n{room}: {killed} of {len(mutants)} mutants killed ({killed / len(mutants):.0%})")
        for survivor in survivors:
            print(survivor.diff())
