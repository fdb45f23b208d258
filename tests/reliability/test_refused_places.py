"""Where a folio cannot be written: one clear message, the old folio stays, nothing else is left."""

from __future__ import annotations

import errno
import os
import resource
import shutil
import stat
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from pinfolio.loaders import FolioError
from pinfolio.loaders.folio.build import build_from_chips
from pinfolio.schema import Chip

Parts = Callable[[Path], list[str]]

NOBODY = 65534


@contextmanager
def limit_file_size(size: int) -> Iterator[None]:
    """The system lets no file grow beyond that, as if the disk were full.

    Source: POSIX.1-2017, setrlimit(), RLIMIT_FSIZE; Python ignores the signal that goes with it.
    """
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.floats(0, 1, exclude_max=True))
@example(0.0)
@example(0.9999999)  # all but the end of the seal
def test_the_disk_is_full_at_any_point(
    folio_path: Path, chips: Sequence[Chip], place: float
) -> None:
    old = folio_path.read_bytes()
    with (
        limit_file_size(int(place * len(old))),
        pytest.raises(FolioError, match=r"cannot be written \(.+\); make room or name another"),
    ):
        build_from_chips(chips[:1], folio_path)
    assert folio_path.read_bytes() == old
    assert list(folio_path.parent.iterdir()) == [folio_path]


@pytest.mark.parametrize("step", ["os.fsync", "pathlib.Path.replace", "pathlib.Path.chmod"])
def test_no_room_is_told_as_such(
    folio_path: Path, chips: Sequence[Chip], step: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_room(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    old = folio_path.read_bytes()
    monkeypatch.setattr(step, no_room)
    with pytest.raises(FolioError, match="No space left on device"):
        build_from_chips(chips, folio_path)
    assert folio_path.read_bytes() == old
    assert list(folio_path.parent.iterdir()) == [folio_path]


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that anybody may reach, with no folder above it that keeps them out."""
    folder = Path(tempfile.mkdtemp())
    yield folder
    folder.chmod(0o755)
    shutil.rmtree(folder)


@contextmanager
def drop_privileges() -> Iterator[None]:
    """For a while not as the superuser, to whom every folder is open."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(0)


def test_a_folder_that_is_only_for_reading(
    open_folder: Path, chips: Sequence[Chip], parts_of_whole: Parts
) -> None:
    path = open_folder / "folio.db"
    build_from_chips(chips[:1], path)
    open_folder.chmod(0o555)
    with (
        drop_privileges(),
        pytest.raises(FolioError, match=r"folio.db: cannot be written \(Permission denied\); "),
    ):
        build_from_chips(chips[1:], path)
    assert parts_of_whole(path) == [chips[0].part]
    assert list(open_folder.iterdir()) == [path]


def test_a_folio_that_is_only_for_reading_is_replaced_and_stays_so(
    folio_path: Path, chips: Sequence[Chip], parts_of_whole: Parts
) -> None:
    """It is a new file that takes its place: nobody writes to a folio, whatever its permissions."""
    folio_path.chmod(0o444)
    build_from_chips(chips[1:], folio_path)
    assert parts_of_whole(folio_path) == [chips[1].part]
    assert stat.S_IMODE(folio_path.stat().st_mode) == 0o444


def test_a_folder_that_goes_away_meanwhile(folio_path: Path, chips: Sequence[Chip]) -> None:
    def then_the_folder_goes() -> Iterator[Chip]:
        yield chips[0]
        shutil.rmtree(folio_path.parent)
        yield chips[1]

    with pytest.raises(FolioError, match=r"cannot be written \(No such file or directory\)"):
        build_from_chips(then_the_folder_goes(), folio_path)
    assert not folio_path.parent.exists()


def test_what_a_stopped_build_left_goes_but_not_what_is_still_written(
    folio_path: Path, chips: Sequence[Chip]
) -> None:
    """A build that is at work is known by the lock on its file."""
    folder = folio_path.parent
    left = folder / ".folio.db.0123abcd.new"
    others = [folder / ".other.db.0123abcd.new", folder / ".folio.db.new", folder / "notes.txt"]
    for path in (left, *others):
        path.write_text("half", encoding="utf-8")

    def while_another_builds() -> Iterator[Chip]:
        (ours,) = folder.glob(".folio.db.????????.new")
        build_from_chips(chips[1:], folio_path)
        assert ours.exists()
        yield chips[0]

    build_from_chips(while_another_builds(), folio_path)
    assert set(folder.iterdir()) == {folio_path, *others}
