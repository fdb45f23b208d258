"""The public door: `from pinfolio.schema import ...` gives every listed name, and opens late."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pinfolio.schema
import pytest
from pinfolio.schema import public

ROOT = Path(__file__).parents[2]


def list_names_taken_from_the_door() -> set[str]:
    """Return the names that the tests and the README import from ``pinfolio.schema``."""
    trees = [ast.parse(path.read_text("utf-8")) for path in (ROOT / "tests").rglob("*.py")]
    return {
        alias.name
        for tree in trees
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and node.module == "pinfolio.schema"
        for alias in node.names
        if not (ROOT / "schema" / alias.name).with_suffix(".py").exists()
        and not (ROOT / "schema" / alias.name).is_dir()
    }


def test_the_list_holds_every_name_that_the_module_imports() -> None:
    tree = ast.parse(Path(public.__file__).read_text("utf-8"))
    imported = {
        alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and node.level
        for alias in node.names
    }
    assert set(public.__all__) == imported
    assert list(public.__all__) == sorted(
        public.__all__, key=lambda name: (not name.isupper(), name)
    )


def test_every_name_that_is_used_is_on_the_list() -> None:
    assert list_names_taken_from_the_door() <= set(public.__all__)


@pytest.mark.parametrize("name", public.__all__)
def test_a_listed_name_is_given_and_documented(name: str) -> None:
    value = getattr(pinfolio.schema, name)
    assert value is getattr(public, name)
    assert name in dir(pinfolio.schema)
    if isinstance(value, type):
        assert value.__doc__


def test_any_other_name_is_refused() -> None:
    with pytest.raises(AttributeError, match=r"'pinfolio\.schema' has no attribute 'Chips'"):
        pinfolio.schema.Chips  # type: ignore[attr-defined]  # noqa: B018


@pytest.mark.parametrize(
    ("module", "unwanted"),
    [
        ("pinfolio.schema.text", {"pydantic", "numpy"}),
        ("pinfolio.schema.quantities", {"pydantic", "numpy"}),
    ],
)
def test_light_modules_do_not_wait_for_the_models(module: str, unwanted: set[str]) -> None:
    """A command that needs no model must not pay for importing pydantic and numpy."""
    code = f"import sys; old = set(sys.modules); import {module}; print(*set(sys.modules) - old)"
    run = subprocess.run([sys.executable, "-Sc", SITE + code], capture_output=True, text=True)
    assert run.returncode == 0, run.stderr
    assert set(run.stdout.split()) & unwanted == set()


SITE = "import site; site.main(); "
