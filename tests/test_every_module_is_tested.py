"""Every module has a test file of its name, or is reached from the tests of its folder."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from .test_floors import MODULES, read_imports

TESTS = Path(__file__).parent
FOUND_BY_NAME = {
    "schema": "schema.waveforms.kinds.",
    "schema.rules": "schema.rules.",
    "schema.waveforms": "schema.waveforms.kinds.",
    "plugins.terminal.cli": "plugins.terminal.",
    "plugins.web.serving.server": "plugins.web.pages.",
}
"""Modules that import all of a folder by the names of its files."""


def list_imports_of_test(path: Path) -> Iterator[str]:
    """Yield the package's modules that a test file imports."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("pinfolio"):
            base = (node.module or "").removeprefix("pinfolio").lstrip(".")
            for alias in node.names:
                inner = f"{base}.{alias.name}".lstrip(".")
                yield inner if inner in MODULES else base


@cache
def list_reached_in_folder(folder: Path) -> frozenset[str]:
    """Return the modules that the tests of one folder import, directly or through others."""
    todo = [m for path in sorted(folder.rglob("*.py")) for m in list_imports_of_test(path)]
    reached: set[str] = set()
    while todo:
        module = todo.pop()
        if module in reached or module not in MODULES:
            continue
        reached.add(module)
        todo += [target for target, _ in read_imports(module)]
        todo += [m for m in MODULES if m.startswith(FOUND_BY_NAME.get(module, "-"))]
    return frozenset(reached)


@pytest.mark.parametrize(
    "module", [name for name, path in MODULES.items() if path.name != "__init__.py"]
)
def test_a_module_has_its_test(module: str) -> None:
    *folders, name = module.split(".")
    by_name = any(TESTS.rglob(f"test_{name}.py"))
    mirrored = TESTS.joinpath(*folders)
    while not mirrored.is_dir():
        mirrored = mirrored.parent
    assert by_name or module in list_reached_in_folder(mirrored)
