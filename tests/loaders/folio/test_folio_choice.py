"""Which folio answers: named, from the environment, the user's own, or the demonstration."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from pinfolio.loaders.chip_files.chip_file import chip_to_yaml
from pinfolio.loaders.folio import folio_choice
from pinfolio.loaders.folio.build import build_from_chips
from pinfolio.loaders.folio.folio import FolioError, open_folio
from pinfolio.loaders.folio.folio_choice import ensure_demo_folio, find_folio
from pinfolio.schema import Chip

ChipMaker = Callable[..., Chip]


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, invented_chip: ChipMaker) -> Path:
    """A home of its own, and a demonstration of one chip."""
    monkeypatch.delenv("PINFOLIO_FOLIO", raising=False)
    monkeypatch.setattr(folio_choice, "locate_data_folder", lambda: tmp_path / "data")
    monkeypatch.setattr(folio_choice, "cache_folder", lambda: tmp_path / "cache")
    file = tmp_path / "QZ5710.yaml"
    file.write_text(chip_to_yaml(invented_chip("QZ5710")), encoding="utf-8")
    monkeypatch.setattr(folio_choice, "chip_files", lambda: [file])
    monkeypatch.setattr(folio_choice, "note_files", list)
    return tmp_path


def test_the_demonstration_answers_when_nothing_else_is_there(home: Path) -> None:
    path = find_folio()
    assert path.parent == home / "cache"
    with open_folio(path) as folio:
        assert [row.part for row in folio.parts()] == ["QZ5710"]
        assert folio.info.all_invented


def test_the_users_own_goes_before_the_demonstration(
    home: Path, invented_chip: ChipMaker, monkeypatch: pytest.MonkeyPatch
) -> None:
    own = home / "data" / "folio.db"
    own.parent.mkdir()
    build_from_chips([invented_chip()], own)
    assert find_folio() == own
    monkeypatch.setenv("PINFOLIO_FOLIO", "shop.db")
    assert find_folio() == Path("shop.db")
    assert find_folio(Path("bench.db")) == Path("bench.db")
    monkeypatch.setenv("PINFOLIO_FOLIO", "")
    assert find_folio() == own


def test_the_demonstration_is_built_once_and_anew_when_its_chips_change(
    home: Path, invented_chip: ChipMaker
) -> None:
    told: list[str] = []
    first = ensure_demo_folio(lambda _done, _total, what: told.append(what))
    assert ensure_demo_folio(lambda _done, _total, what: told.append(what)) == first
    assert told == ["QZ5710"]
    text = chip_to_yaml(invented_chip("QZ5712"))
    (home / "QZ5710.yaml").write_text(text, encoding="utf-8")
    assert ensure_demo_folio() != first
    assert first.exists()  # somebody may be reading it


@pytest.mark.parametrize("harm", [lambda whole: whole[:5000], lambda _: b"", lambda _: b"notes"])
def test_a_harmed_demonstration_is_built_again(harm: Callable[[bytes], bytes]) -> None:
    path = ensure_demo_folio()
    path.write_bytes(harm(path.read_bytes()))
    assert ensure_demo_folio() == path
    with open_folio(path) as folio:
        assert folio.info.chips == 1


def test_two_that_build_it_at_once_both_get_a_whole_one() -> None:
    with ThreadPoolExecutor(8) as threads:
        paths = set(threads.map(lambda _: ensure_demo_folio(), range(8)))
    (path,) = paths
    assert list(path.parent.iterdir()) == [path]
    with open_folio(path) as folio:
        assert folio.info.chips == 1


def test_a_cache_folder_that_cannot_be_made_is_told(home: Path) -> None:
    (home / "cache").write_text("in the way", encoding="utf-8")
    with pytest.raises(FolioError, match=r"cannot be stored .* PINFOLIO_FOLIO"):
        ensure_demo_folio()
