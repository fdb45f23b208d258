"""Run tests on a copy of the tree, each time in a fresh process that has its libraries already.

A run starts from a server that has imported the libraries of the tests and nothing of the
package, so that it costs the tests alone. The bound is in seconds of processor, for the machine
may have other work.
"""

from __future__ import annotations

import ast
import builtins
import compileall
import json
import multiprocessing
import os
import py_compile
import resource
import shutil
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import pytest
from hypothesis import Phase, settings

from .mutants import Mutant

_LIBRARIES: Final = [
    "pytest", "hypothesis", "numpy", "pydantic", "yaml", "rich.table", "click.testing",
    "scipy.signal", "sqlite_utils", "httpx", "jinja2", "uvicorn", "cryptography", "PIL.Image",
]  # fmt: skip
"""Imported once. Not Datasette, which would import the package by its entry point."""

_MEMORY_BYTES: Final = 6 * 1024**3
_EXAMPLES: Final = 20
_CALLED: Final = "__import__('builtins').__dict__.setdefault('_called', set())"
"""The set of functions called in the test that runs; processes of its own have one of theirs."""

_processes = multiprocessing.get_context("forkserver")
_processes.set_forkserver_preload(_LIBRARIES)


@dataclass
class Trace:
    """Which functions of a room each test calls, and how long each test takes.

    A function is a module's path from the root and the line of its first decorator or ``def``.
    """

    functions_of: dict[str, list[tuple[str, int]]] = field(default_factory=dict)
    seconds_of: dict[str, float] = field(default_factory=dict)

    def tests_of(self, mutant: Mutant) -> list[str]:
        """Return the tests that call the mutated function, quickest first."""
        function = (mutant.name, mutant.function_line)
        tests = [test for test, called in self.functions_of.items() if function in called]
        return sorted(tests, key=lambda test: self.seconds_of[test])


class Tracing:
    """A plugin of pytest that fills a ``Trace`` from modules that ``record_calls`` has changed."""

    def __init__(self) -> None:
        self.trace = Trace()

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[Any]:
        """Trace one test with its fixtures."""
        called: set[tuple[str, int]] = vars(builtins).setdefault("_called", set())
        called.clear()
        result = yield
        self.trace.functions_of[item.nodeid] = sorted(called)
        return result

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Add up set-up, call and tear-down."""
        seconds = self.trace.seconds_of.get(report.nodeid, 0.0)
        self.trace.seconds_of[report.nodeid] = seconds + report.duration


def record_calls(source: str, name: str) -> str:
    """Return a module in which every function notes its module and first line when called.

    A tracing function would be called for all code there is, and take several times as long. The
    rest of the text is as before, for the kinds of waveforms are read from it.
    """
    lines = source.encode().splitlines(keepends=True)
    notes = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            first_line = min(part.lineno for part in (node, *node.decorator_list))
            notes.append((*_place_note(node), f"{_CALLED}.add(({name!r}, {first_line}))"))
    for line, column, note in sorted(notes, reverse=True):
        before, after = lines[line - 1][:column], lines[line - 1][column:]
        gap = f"\n{' ' * column}" if not before.strip() else "; "
        text = note + gap if after.strip() else f"; {note}"
        lines[line - 1] = before + text.encode() + after
    return b"".join(lines).decode()


def _place_note(node: ast.FunctionDef | ast.AsyncFunctionDef) -> tuple[int, int]:
    """Return the line and the column before a function's first statement, else after its text."""
    has_docstring = ast.get_docstring(node, clean=False) is not None
    if len(node.body) > has_docstring:
        statement = node.body[has_docstring]
        decorators = getattr(statement, "decorator_list", [])
        return min(part.lineno for part in (statement, *decorators)), statement.col_offset
    assert node.body[0].end_lineno is not None
    assert node.body[0].end_col_offset is not None
    return node.body[0].end_lineno, node.body[0].end_col_offset


class Chosen:
    """A plugin of pytest that runs only some of the tests, in their order."""

    def __init__(self, tests: list[str]) -> None:
        self._place_of = {test: place for place, test in enumerate(tests)}

    @pytest.hookimpl(trylast=True)
    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        """Keep and sort the chosen tests."""
        chosen = [item for item in items if item.nodeid in self._place_of]
        items[:] = sorted(chosen, key=lambda item: self._place_of[item.nodeid])


def _run_pytest(tree: Path, files: list[str], seconds: float, plugin: Any, answer: Path) -> None:
    """Run tests in this process, which ends with pytest's exit status."""
    os.chdir(tree)
    os.environ["PYTHONPATH"] = str(tree.parent)
    sys.path.insert(0, str(tree.parent))
    tracing = isinstance(plugin, Tracing)
    sys.dont_write_bytecode = not tracing  # only tests are compiled while tracing, and are kept
    resource.setrlimit(resource.RLIMIT_CPU, (int(seconds) + 1, int(seconds) + 1))
    resource.setrlimit(resource.RLIMIT_AS, (_MEMORY_BYTES, _MEMORY_BYTES))
    for stream in (sys.stdout, sys.stderr):
        os.dup2(
            os.open(answer.with_suffix(".log"), os.O_WRONLY | os.O_CREAT | os.O_TRUNC),
            stream.fileno(),
        )
    # A failing example need not be made smaller to kill a mutant, and a few examples will do.
    unshrunk = (Phase.explicit, Phase.generate)
    settings.register_profile(
        "mutants", deadline=None, derandomize=True, max_examples=_EXAMPLES, phases=unshrunk
    )
    arguments = ["-q", "-x", "-p", "no:cacheprovider", "-p", "no:xdist"]
    arguments += ["--hypothesis-profile=mutants", *files]
    status = pytest.main(arguments, plugins=[plugin])
    if tracing:
        answer.write_text(json.dumps(vars(plugin.trace)), encoding="utf-8")
    sys.exit(status)


class Scratch:
    """A copy of the tree that is imported in place of the installed package."""

    def __init__(self, root: Path, folder: Path, timeout_s: float) -> None:
        self.tree = folder / "pinfolio"  # the root of the repository is the package
        self.timeout_s = timeout_s
        self._answer = folder / "answer.json"
        unwanted = shutil.ignore_patterns(".*", "*.egg-info", "build", "__pycache__")
        shutil.copytree(root, self.tree, ignore=unwanted)
        self._compile()

    def _compile(self) -> None:
        """Compile all modules; by its contents, not its time, a mutant is known as another."""
        by_contents = py_compile.PycInvalidationMode.CHECKED_HASH
        for code in ("schema", "loaders", "plugins", "data_demo"):
            compileall.compile_dir(self.tree / code, quiet=1, invalidation_mode=by_contents)

    def trace(self, files: list[str], modules: list[str]) -> Trace:
        """Return the functions of modules that the tests in files call; the tests must pass."""
        sources = {name: (self.tree / name).read_text(encoding="utf-8") for name in modules}
        for name, source in sources.items():
            (self.tree / name).write_text(record_calls(source, name), encoding="utf-8")
        try:
            status = self._run(files, Tracing(), 60 * self.timeout_s)
        finally:
            for name, source in sources.items():
                (self.tree / name).write_text(source, encoding="utf-8")
        self._compile()
        log = self._answer.with_suffix(".log").read_text(encoding="utf-8")
        assert status == pytest.ExitCode.OK, f"the tests must pass on the code as it is: {log}"
        answer = json.loads(self._answer.read_text(encoding="utf-8"))
        called = answer["functions_of"].items()
        functions_of = {test: [(path, line) for path, line in found] for test, found in called}
        return Trace(functions_of, answer["seconds_of"])

    def survives(self, mutant: Mutant, trace: Trace) -> bool:
        """Return whether every traced test passes in time with a mutant in the tree.

        The tests that call the mutated function run first. The others follow, since results may
        have been kept from an earlier test, and code outside functions runs at import.
        """
        nearest = trace.tests_of(mutant)
        others = [test for test in trace.functions_of if test not in set(nearest)]
        place = self.tree / mutant.name
        place.write_text(mutant.mutated, encoding="utf-8")
        try:
            return all(self._passes(tests, trace) for tests in (nearest, others) if tests)
        finally:
            place.write_text(mutant.source, encoding="utf-8")

    def _passes(self, tests: list[str], trace: Trace) -> bool:
        files = list(dict.fromkeys(test.partition("::")[0] for test in tests))
        seconds = self.timeout_s + 3 * sum(trace.seconds_of[test] for test in tests)
        return self._run(files, Chosen(tests), seconds) == pytest.ExitCode.OK

    def _run(self, files: list[str], plugin: Any, seconds: float) -> int | None:
        work = (self.tree, files, seconds, plugin, self._answer)
        process = _processes.Process(target=_run_pytest, args=work)
        process.start()
        process.join(10 * seconds)  # a test that waits for ever uses no processor
        if process.is_alive():
            process.kill()
            process.join()
        return process.exitcode
