"""The demonstration folio, built once, and the command line and pages that ask it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from datasette.app import Datasette
from pinfolio.data_demo import chip_files, note_files
from pinfolio.loaders import Folio, open_folio
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.loaders.folio.build import build_folio
from pinfolio.loaders.shop.note_files import load_own_notes
from pinfolio.loaders.shop.shop_folder import Shop, init_shop
from pinfolio.plugins.terminal.cli import main
from pinfolio.plugins.web.serving.server import open_datasette
from pinfolio.schema import Chip
from pinfolio.schema.note import Note


@pytest.fixture(scope="session")
def demo_path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("folio") / "demo.db"
    build_folio([*chip_files(), *note_files()], path)
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
    return open_datasette(demo_path)


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Shop:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    made = init_shop(
        tmp_path / "a", "bench-a", "anna", meter="digital meter", scope="analogue 20 MHz"
    )
    monkeypatch.setenv("PINFOLIO_SHOP", str(made.folder))
    return made


@pytest.fixture
def other(tmp_path: Path) -> Shop:
    return init_shop(tmp_path / "b", "bench-b")


@pytest.fixture
def note(run: Callable[..., Result], shop: Shop) -> Callable[..., Note]:
    """``pinfolio note`` with these arguments, which must succeed; the revision it wrote."""

    def written(*arguments: object) -> Note:
        before = {revision.digest for revision in load_own_notes(shop)}
        result = run("note", *arguments)
        assert result.exit_code == 0, result.output
        (new,) = (revision for revision in load_own_notes(shop) if revision.digest not in before)
        return new

    return written
