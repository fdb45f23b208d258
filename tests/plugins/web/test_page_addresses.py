"""The addresses of the pages: each module of views has its own, and is imported at a visit."""

from __future__ import annotations

import sys
from importlib import import_module
from pathlib import Path

import pytest
from pinfolio.plugins.web import pages
from pinfolio.plugins.web.pages import ADDRESSES

FOLDER = Path(next(iter(pages.__path__)))


def test_each_module_of_pages_has_addresses() -> None:
    assert sorted(ADDRESSES) == sorted(path.stem for path in FOLDER.glob("*_pages.py"))


@pytest.mark.parametrize("module", ADDRESSES)
def test_each_view_has_one_address(module: str) -> None:
    views = import_module(f"{pages.__name__}.{module}").VIEWS
    assert len(views) == len(ADDRESSES[module])


def test_the_routes_are_known_without_importing_the_pages(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in [name for name in sys.modules if name.startswith(f"{pages.__name__}.")]:
        monkeypatch.delitem(sys.modules, name)
    assert len(pages.find_routes()) == sum(map(len, ADDRESSES.values()))
    assert not [name for name in sys.modules if name.startswith(f"{pages.__name__}.")]
