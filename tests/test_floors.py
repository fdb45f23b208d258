"""The house has floors: code imports only from rooms listed before its own, without circles."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import networkx as nx
import pytest

ROOT = Path(__file__).parent.parent
ROOMS = (ROOT / "tests" / "floors.txt").read_text(encoding="utf-8").split()
MOST_FILES = 25  # in one folder, `__init__.py` not counted
FACES = ("plugins.web", "plugins.terminal")
FACE_LIBRARIES = {"click", "rich", "datasette", "jinja2", "markupsafe", "uvicorn"}


def name_module(path: Path) -> str:
    """Return the dotted name of a module, without the leading ``pinfolio``."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {
    name_module(path): path
    for floor in ("schema", "data_demo", "loaders", "plugins")
    for path in sorted((ROOT / floor).rglob("*.py"))
}


def find_room(module: str) -> str:
    """Return the most particular listed room that holds a module."""
    return max((r for r in ROOMS if f"{module}.".startswith(f"{r}.")), key=len)


@cache
def read_imports(module: str) -> frozenset[tuple[str, bool]]:
    """Return the package's modules that one imports, each with whether at its own import."""
    path = MODULES[module]
    package = module if path.name == "__init__.py" else module.rpartition(".")[0]
    tree = ast.parse(path.read_text(encoding="utf-8"))
    at_once = set(_list_statements_at_import(tree))
    return frozenset(
        (target, node in at_once)
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and node.level
        for target in _list_targets(node, package)
    )


def _list_statements_at_import(tree: ast.Module) -> Iterator[ast.stmt]:
    """Yield the statements of a module's body, except those under TYPE_CHECKING."""
    for node in tree.body:
        if not (isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test)):
            yield node


def _list_targets(node: ast.ImportFrom, package: str) -> Iterator[str]:
    """Yield the modules that one import statement names."""
    above = package.split(".")[: len(package.split(".")) - (node.level - 1)]
    base = ".".join([*above, *([node.module] if node.module else [])])
    for alias in node.names:
        module = f"{base}.{alias.name}".lstrip(".")
        yield module if module in MODULES else base


def list_libraries(module: str) -> set[str]:
    """Return the top-level names of the libraries that a module imports anywhere."""
    tree = ast.parse(MODULES[module].read_text(encoding="utf-8"))
    named = {a.name for n in ast.walk(tree) if isinstance(n, ast.Import) for a in n.names}
    named |= {
        n.module
        for n in ast.walk(tree)
        if isinstance(n, ast.ImportFrom) and n.module and not n.level
    }
    return {name.partition(".")[0] for name in named}


@pytest.mark.parametrize("module", MODULES)
def test_a_module_imports_only_from_rooms_before_its_own(module: str) -> None:
    own = ROOMS.index(find_room(module))
    later = {t for t, _ in read_imports(module) if ROOMS.index(find_room(t)) > own}
    assert not later, f"{module} imports {sorted(later)}; see tests/floors.txt"


def test_no_modules_import_each_other_in_a_circle() -> None:
    graph = nx.DiGraph((m, target) for m in MODULES for target, _ in read_imports(m) if target != m)
    # A package's `__init__` that lists its public surface is no circle with its own modules.
    graph.remove_nodes_from([m for m, path in MODULES.items() if path.name == "__init__.py"])
    circles = [sorted(c) for c in nx.strongly_connected_components(graph) if len(c) > 1]
    assert circles == []


@pytest.mark.parametrize("module", [m for m in MODULES if find_room(m) not in FACES])
def test_only_the_faces_know_terminals_and_pages(module: str) -> None:
    assert list_libraries(module) & FACE_LIBRARIES == set()


@pytest.mark.parametrize("folder", sorted({path.parent for path in MODULES.values()}), ids=str)
def test_no_folder_holds_more_than_one_can_read_at_a_glance(folder: Path) -> None:
    files = [path for path in folder.glob("*.py") if path.name != "__init__.py"]
    assert len(files) <= MOST_FILES


def test_each_listed_room_is_there() -> None:
    rooms = {find_room(module) for module in MODULES}
    assert rooms == set(ROOMS)
