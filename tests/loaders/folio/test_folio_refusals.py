"""Failed builds and unreadable folios: one clear message, the old folio unchanged, no litter."""

from __future__ import annotations

import re
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pinfolio.loaders.chip_files.chip_file import chip_to_yaml
from pinfolio.loaders.errors import ChipFileError
from pinfolio.loaders.folio.build import build_folio, build_from_chips
from pinfolio.loaders.folio.folio import Folio, FolioError, open_folio
from pinfolio.loaders.folio.folio_file import SCHEMA_VERSION
from pinfolio.schema import Chip

ChipMaker = Callable[..., Chip]


@pytest.fixture
def old(tmp_path: Path, invented_chip: ChipMaker) -> Path:
    """A folio that is there already, alone in its folder."""
    path = tmp_path / "out" / "folio.db"
    path.parent.mkdir()
    build_from_chips([invented_chip("AB12")], path)
    return path


@pytest.fixture
def untouched(old: Path) -> Iterator[Path]:
    """The same, checked at the end to be as it was, with nothing beside it."""
    before = old.read_bytes()
    yield old
    assert old.read_bytes() == before
    assert list(old.parent.iterdir()) == [old]


def test_all_faults_of_all_files_are_told_and_the_old_folio_stays(
    untouched: Path, tmp_path: Path, invented_chip: ChipMaker
) -> None:
    good, bad, worse = (tmp_path / name for name in ("good.yaml", "bad.yaml", "worse.yaml"))
    good.write_text(chip_to_yaml(invented_chip()), encoding="utf-8")
    bad.write_text("part: QZ1\n", encoding="utf-8")
    worse.write_text("- a list\n", encoding="utf-8")
    with pytest.raises(ChipFileError) as refused:
        build_folio([bad, good, worse], untouched)
    assert {fault.file for fault in refused.value.faults} == {str(bad), str(worse)}


def test_a_part_in_two_files_names_both(
    untouched: Path, tmp_path: Path, invented_chip: ChipMaker
) -> None:
    one, two = tmp_path / "one.yaml", tmp_path / "two.yaml"
    one.write_text(chip_to_yaml(invented_chip("QZ5710")), encoding="utf-8")
    two.write_text(chip_to_yaml(invented_chip("qz 5710")), encoding="utf-8")
    with pytest.raises(ChipFileError) as refused:
        build_folio([one, two], untouched)
    (fault,) = refused.value.faults
    assert fault.file == str(two)
    assert fault.found == f"part qz 5710, which {one} describes already"


def test_no_chip_files_is_no_folio(untouched: Path, tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    with pytest.raises((FolioError, ChipFileError), match=r"chip file"):
        build_folio([tmp_path / "empty"], untouched)


@pytest.mark.parametrize("interruption", [KeyboardInterrupt, MemoryError, RuntimeError])
def test_an_interrupted_build_leaves_nothing_behind(
    untouched: Path, invented_chip: ChipMaker, interruption: type[BaseException]
) -> None:
    def chips() -> Iterator[Chip]:
        yield invented_chip()
        raise interruption

    with pytest.raises(interruption):
        build_from_chips(chips(), untouched)


def test_a_full_disk_is_told_and_leaves_the_old_folio(untouched: Path) -> None:
    """The system refuses a file to grow past a megabyte, as it would on a disk that is full."""
    program = """
import resource, sys
from pathlib import Path
from pinfolio.loaders.folio.build import build_from_chips
from pinfolio.loaders import FolioError, open_folio
path = Path(sys.argv[1])
resource.setrlimit(resource.RLIMIT_FSIZE, (2**20, 2**20))
(chip,) = open_folio(path).chips()
many = (chip.model_copy(update={"part": f"AB{number}"}) for number in range(5000))
try:
    build_from_chips(many, path)
except FolioError as fault:
    print(fault)
"""
    command = [sys.executable, "-c", program, str(untouched)]
    told = subprocess.run(command, capture_output=True, text=True, check=True)
    assert told.stdout.startswith(f"{untouched}: cannot be written (")
    assert "make room or name another place: pinfolio build SOURCE... -o FILE" in told.stdout


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path, invented_chip: ChipMaker) -> None:
    for out in (tmp_path / "missing" / "folio.db", Path("/proc/folio.db")):
        with pytest.raises(FolioError, match=re.escape(f"{out}: cannot be written (")):
            build_from_chips([invented_chip()], out)
    with pytest.raises(FolioError, match="cannot be written"):
        build_from_chips([invented_chip()], tmp_path)


def test_a_file_that_is_no_folio_is_not_written_over(
    tmp_path: Path, invented_chip: ChipMaker
) -> None:
    notes = tmp_path / "notes.txt"
    notes.write_text("R12 was open", encoding="utf-8")
    with pytest.raises(FolioError, match="exists and is not a folio; name another file"):
        build_from_chips([invented_chip()], notes)
    assert notes.read_text(encoding="utf-8") == "R12 was open"


def test_a_reader_keeps_the_folio_it_opened(old: Path, invented_chip: ChipMaker) -> None:
    with open_folio(old) as reader:
        build_from_chips([invented_chip("QZ5710")], old)
        assert [row.part for row in reader.parts()] == ["AB12"]
        with open_folio(old) as later:
            assert [row.part for row in later.parts()] == ["QZ5710"]


def catch_refusal(path: Path) -> str:
    with pytest.raises(FolioError) as refused:
        open_folio(path)
    return str(refused.value).replace(str(path), "X")


def test_a_missing_folio_names_the_command_that_builds_it(tmp_path: Path) -> None:
    assert catch_refusal(tmp_path / "folio.db") == (
        "X: no such file; build it: pinfolio build SOURCE... -o X"
    )


@pytest.mark.parametrize("content", [b"", b"R12 was open", b"SQLite format 3\0", b"\0" * 500])
def test_what_is_no_folio_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "folio.db"
    path.write_bytes(content)
    assert catch_refusal(path) == "X: not a folio; build one: pinfolio build SOURCE... -o FILE"


def test_another_database_and_a_folder_are_no_folio(tmp_path: Path) -> None:
    with sqlite3.connect(tmp_path / "other.db") as other:
        other.execute("CREATE TABLE folio (built TEXT)")
    assert catch_refusal(tmp_path / "other.db").startswith("X: not a folio;")
    assert catch_refusal(tmp_path).startswith("X: cannot be read (Is a directory);")


def test_another_schema_version_is_refused(old: Path) -> None:
    with sqlite3.connect(old) as later:
        later.execute("PRAGMA user_version = 99")
    assert catch_refusal(old) == (
        f"X: the folio has schema version 99, but this pinfolio reads {SCHEMA_VERSION};"
        " build it again: pinfolio build SOURCE... -o X"
    )


def test_every_truncation_is_noticed(old: Path) -> None:
    whole = old.read_bytes()
    for size in (100, 4095, 4096, len(whole) // 2, len(whole) - 1):
        old.write_bytes(whole[:size])
        assert catch_refusal(old) == (
            f"X: the folio is cut short by {len(whole) - size} bytes;"
            " build it again: pinfolio build SOURCE... -o X"
        )


def test_damage_inside_is_told_as_damage(old: Path) -> None:
    whole = old.read_bytes()
    old.write_bytes(whole[:100] + b"\xff" * (len(whole) - 100))
    assert catch_refusal(old).startswith("X: the folio is damaged (")


def test_damage_met_later_is_told_too(old: Path) -> None:
    """As when the disk fails under a folio that was whole when it was opened."""
    with sqlite3.connect(old) as writer:
        writer.execute("UPDATE chip_document SET zlib = x'00'")
        writer.execute("DROP TABLE pin_fts")
    with Folio(sqlite3.connect(old)) as folio:
        for read in (lambda: folio.chip("AB12"), lambda: folio.search_pins([["sync"]])):
            with pytest.raises(FolioError, match=r"build it again: pinfolio build SOURCE"):
                read()


@settings(max_examples=50, deadline=None)
@given(st.binary(max_size=200))
def test_no_bytes_are_an_unexpected_error(
    tmp_path_factory: pytest.TempPathFactory, content: bytes
) -> None:
    path = tmp_path_factory.mktemp("garbage") / "folio.db"
    path.write_bytes(content)
    assert "not a folio" in catch_refusal(path)


def test_an_odd_file_name_is_no_obstacle(tmp_path: Path, invented_chip: ChipMaker) -> None:
    path = tmp_path / "a?b#c %41 'µ'.db"
    build_from_chips([invented_chip()], path)
    with open_folio(path) as folio:
        assert folio.info.chips == 1
