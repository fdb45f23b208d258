"""A verified folio is not hashed again until it changes or a day has passed."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import pytest
from pinfolio.loaders import FolioError
from pinfolio.loaders.folio.build import build_from_chips
from pinfolio.loaders.folio.folio_file import check_folio_file
from pinfolio.schema import Chip

MINUTE_S, DAY_S = 60.0, 24 * 3600.0


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder of remembered checks, in an empty user's cache."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return tmp_path / "cache" / "pinfolio" / "whole"


@pytest.fixture
def folio_path(cache: Path, tmp_path: Path, invented_chip: Callable[..., Chip]) -> Path:
    build_from_chips([invented_chip()], tmp_path / "folio.db")
    return tmp_path / "folio.db"


@pytest.fixture
def later(monkeypatch: pytest.MonkeyPatch) -> Callable[[float], None]:
    """Call it to put the clock on, by so many seconds from now."""
    now = time.time()
    return lambda by_s: monkeypatch.setattr(time, "time", lambda: now + by_s)


@pytest.fixture
def reads(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Grows whenever a folio is read through."""
    from pinfolio.loaders.folio import folio_file

    done: list[str] = []
    read_through = folio_file.verify_seal
    monkeypatch.setattr(
        folio_file, "verify_seal", lambda file: (done.append("read"), read_through(file))[1]
    )
    return done


def test_a_folio_is_read_through_once(
    folio_path: Path, later: Callable[[float], None], reads: list[str]
) -> None:
    later(MINUTE_S)
    for _ in range(3):
        check_folio_file(folio_path)
    assert len(reads) == 1
    check_folio_file(folio_path, afresh=True)
    assert len(reads) == 2


def test_a_day_later_it_is_read_again_and_what_was_known_is_forgotten(
    folio_path: Path, later: Callable[[float], None], reads: list[str], cache: Path
) -> None:
    later(MINUTE_S)
    check_folio_file(folio_path)
    (before,) = cache.iterdir()
    before.rename(before.with_name("1-2-3-4-5"))  # of another folio, gone by now
    later(DAY_S + MINUTE_S)
    check_folio_file(folio_path)
    assert len(reads) == 2
    assert [path.name for path in cache.iterdir()] != ["1-2-3-4-5"]
    assert len(list(cache.iterdir())) == 1


def test_what_was_written_a_moment_ago_is_not_remembered(folio_path: Path, cache: Path) -> None:
    """A further change within the same tick of the file system's clock would not be seen."""
    check_folio_file(folio_path)
    assert not cache.exists()


def test_a_change_is_seen_all_the_same(
    folio_path: Path, later: Callable[[float], None], cache: Path
) -> None:
    later(MINUTE_S)
    check_folio_file(folio_path)
    assert len(list(cache.iterdir())) == 1
    time.sleep(0.02)  # beyond one tick
    with folio_path.open("r+b") as file:
        file.seek(5000)
        file.write(b"?")
    with pytest.raises(FolioError, match="damaged"):
        check_folio_file(folio_path)


def test_where_nothing_can_be_remembered_it_is_read_each_time(
    folio_path: Path, later: Callable[[float], None], reads: list[str], cache: Path
) -> None:
    cache.parent.mkdir(parents=True)
    cache.write_text("not a folder", encoding="utf-8")
    later(MINUTE_S)
    for _ in range(2):
        check_folio_file(folio_path)
    assert len(reads) == 2
