"""The demonstration folio, built once, and the command line and pages that ask it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from datasette.app import Datasette
from pinfolio.data_demo import chip_files, note_files
from pinfolio.loaders import Folio, open_folio
from pinfolio.loaders.build import build_folio
from pinfolio.loaders.chip_file import load_chip
from pinfolio.loaders.note_file import load_note
from pinfolio.plugins.command_line import main
from pinfolio.plugins.serving.serve import datasette_for
from pinfolio.schema import Chip


@pytest.fixture(scope="session")
def demo_path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("folio") / "demo.db"
    build_folio(chip_files(), path, notes=map(load_note, note_files()))
    return path


@pytest.fixture(scope="session")
def demo(demo_path: Path) -> Iterator[Folio]:
    with open_folio(demo_path) as folio:
        yield folio


@pytest.fixture(scope="session")
def jungle() -> Chip:
    """The PAL jungle of the demonstration."""
    return load_chip(next(path for path in chip_files() if path.stem == "tqz5752"))


@pytest.fixture
def run(demo_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Result]:
    """``pinfolio`` with these arguments, asking the demonstration folio."""
    monkeypatch.setenv("PINFOLIO_FOLIO", str(demo_path))
    return lambda *arguments: CliRunner().invoke(main, [str(word) for word in arguments])


@pytest.fixture
def site(demo_path: Path) -> Datasette:
    return datasette_for(demo_path)
