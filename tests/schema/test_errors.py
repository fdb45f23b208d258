"""The error tree drawn in ``schema/errors.py`` is the one the code has."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest
from pinfolio.schema import errors
from pinfolio.schema.errors import PinfolioError, Unknown, Unusable

ROOT = Path(__file__).parents[2]
DRAWN = re.compile(r"^(?P<indent>[ │├└─]*)(?P<name>[A-Z]\w+)(?P<rest>.*)$")


def read_drawn_tree() -> dict[str, str]:
    """Return each error that the docstring draws, with its parent."""
    parents: dict[str, str] = {}
    above: dict[int, str] = {}
    for line in (errors.__doc__ or "").splitlines():
        branch = DRAWN.match(line)
        if branch is None or not line.startswith("    "):
            continue
        depth = len(branch["indent"])
        above[depth] = branch["name"]
        parents[branch["name"]] = above.get(depth - 4, "")
    return parents


def read_coded_tree() -> dict[str, str]:
    """Return each error class of the sources with the parent that is in the tree."""
    bases = {
        node.name: [base.id for base in node.bases if isinstance(base, ast.Name)]
        for room in ("schema", "loaders", "plugins")
        for path in (ROOT / room).rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.ClassDef)
    }
    tree, grown = {"PinfolioError": ""}, True
    while grown:
        new = {
            name: parent
            for name, parents in bases.items()
            for parent in parents
            if parent in tree and name not in tree
        }
        tree |= new
        grown = bool(new)
    return tree


def test_the_tree_is_drawn_as_it_is_coded() -> None:
    assert read_drawn_tree() == read_coded_tree()


@pytest.mark.parametrize(("error", "status"), [(PinfolioError, 2), (Unknown, 1), (Unusable, 2)])
def test_the_exit_status_is_that_of_the_question(error: type[PinfolioError], status: int) -> None:
    assert error.exit_status == status
