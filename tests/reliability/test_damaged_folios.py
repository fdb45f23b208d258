"""A folio that was cut short, or of which any bit has changed, is refused with the remedy.

SQLite reads a changed letter as happily as the one that was written; the seal does not.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from pinfolio.loaders import FolioError, open_folio
from pinfolio.loaders.folio.build import build_from_chips
from pinfolio.loaders.folio.folio_file import check_folio_file
from pinfolio.loaders.folio.seal import SEAL_SIZE, add_seal
from pinfolio.schema import Chip

HEADER_SIZE = 100  # https://www.sqlite.org/fileformat2.html, 1.3

places = st.floats(0, 1, exclude_max=True)
"""Where in a file, as a fraction of its size."""


@pytest.fixture(scope="module")
def folio_path(tmp_path_factory: pytest.TempPathFactory, chips: Sequence[Chip]) -> Path:
    """One folio for all of these tests; a test that damages it repairs it again."""
    path = tmp_path_factory.mktemp("damaged") / "folio.db"
    build_from_chips(chips[:1], path)
    return path


def assert_refused(path: Path) -> None:
    """One line that names the fault, and the command that builds it again."""
    with pytest.raises(FolioError) as refused:
        open_folio(path).close()
    message = str(refused.value)
    assert message.startswith(f"{path}: ")
    assert "pinfolio build SOURCE... -o " in message
    assert "\n" not in message


@contextmanager
def flip_bytes(path: Path, bit: int) -> Iterator[None]:
    """The file with one bit, counted from its beginning, the other way round."""
    with path.open("r+b", buffering=0) as file:

        def flip() -> None:
            file.seek(bit // 8)
            (byte,) = file.read(1)
            file.seek(bit // 8)
            file.write(bytes([byte ^ 1 << bit % 8]))

        flip()
        yield
        flip()


@settings(max_examples=300)
@given(places)
def test_any_bit_that_has_changed(folio_path: Path, place: float) -> None:
    with flip_bytes(folio_path, int(place * folio_path.stat().st_size * 8)):
        assert_refused(folio_path)


def test_every_bit_of_the_header_and_of_the_seal(folio_path: Path) -> None:
    bits = folio_path.stat().st_size * 8
    for bit in (*range(HEADER_SIZE * 8), *range(bits - SEAL_SIZE * 8, bits)):
        with flip_bytes(folio_path, bit):
            assert_refused(folio_path)


def test_a_bit_in_every_page_of_tables_indexes_and_word_search(folio_path: Path) -> None:
    """The owner of each page: the ``rootpage`` of SQLite's own schema table."""
    with closing(sqlite3.connect(folio_path)) as database:
        (size,) = database.execute("PRAGMA page_size").fetchone()
        (pages,) = database.execute("PRAGMA page_count").fetchone()
        roots = dict(database.execute("SELECT name, rootpage FROM sqlite_schema WHERE rootpage"))
    assert {"chip", "pin", "pin_fts_data", "sqlite_autoindex_chip_1"} <= set(roots)
    for page in range(pages):
        with flip_bytes(folio_path, (page * size + size // 2) * 8 + page % 8):
            assert_refused(folio_path)


def test_a_letter_of_a_chip_that_sqlite_does_not_miss(
    folio_path: Path, chips: Sequence[Chip]
) -> None:
    """A marking misread by one bit would be another chip."""
    at = folio_path.read_bytes().index(chips[0].part.encode())
    with flip_bytes(folio_path, at * 8):
        with closing(sqlite3.connect(folio_path)) as database:
            assert database.execute("SELECT count(*) FROM chip").fetchone() == (1,)
        assert_refused(folio_path)


@settings(max_examples=200)
@given(places)
@example(0.0)
def test_any_length_shorter(folio_path: Path, place: float) -> None:
    whole = folio_path.read_bytes()
    os.truncate(folio_path, int(place * len(whole)))
    assert_refused(folio_path)
    folio_path.write_bytes(whole)


@settings(max_examples=50)
@given(st.binary(min_size=1, max_size=9000))
@example(b"\0")
@example(b"\0" * 4096)
def test_anything_behind_the_end(folio_path: Path, more: bytes) -> None:
    size = folio_path.stat().st_size
    with folio_path.open("ab") as file:
        file.write(more)
    assert_refused(folio_path)
    os.truncate(folio_path, size)


@settings(max_examples=50)
@given(places, places)
def test_a_stretch_that_reads_as_nothing(folio_path: Path, start: float, length: float) -> None:
    """As a disk gives back that lost the last write."""
    whole = folio_path.read_bytes()
    first = int(start * len(whole))
    count = max(1, int(length * (len(whole) - first)))
    damaged = whole[:first] + b"\0" * count + whole[first + count :]
    if damaged != whole:
        folio_path.write_bytes(damaged)
        assert_refused(folio_path)
        folio_path.write_bytes(whole)


def test_a_second_seal_does_not_make_it_whole(folio_path: Path) -> None:
    whole = folio_path.read_bytes()
    add_seal(folio_path)
    assert_refused(folio_path)
    folio_path.write_bytes(whole)


def test_a_database_somebody_wrote_to_is_no_folio_any_more(
    folio_path: Path, chips: Sequence[Chip]
) -> None:
    whole = folio_path.read_bytes()
    with closing(sqlite3.connect(folio_path)) as database, database:
        database.execute("UPDATE pin SET symbol = 'X'")
    assert_refused(folio_path)
    folio_path.write_bytes(whole)


def test_the_command_in_the_message_mends_it(folio_path: Path, chips: Sequence[Chip]) -> None:
    with folio_path.open("r+b") as file:
        file.seek(5000)
        file.write(b"?" * 100)
    with pytest.raises(FolioError, match=rf"damaged .* pinfolio build SOURCE... -o {folio_path}$"):
        check_folio_file(folio_path)
    build_from_chips(chips[:1], folio_path)
    check_folio_file(folio_path, afresh=True)
