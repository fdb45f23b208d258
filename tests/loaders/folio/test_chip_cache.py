"""The cache of chip files: an unchanged file is not read again; a changed one always is."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pinfolio.loaders.chip_files.chip_file import chip_to_yaml
from pinfolio.loaders.chip_files.chip_stream import Record
from pinfolio.loaders.errors import ChipFileError
from pinfolio.loaders.folio import chip_cache
from pinfolio.loaders.folio import prepared_chip as prepared
from pinfolio.loaders.folio.build import build_folio
from pinfolio.loaders.folio.chip_rows import COLUMNS
from pinfolio.schema import Chip

ChipMaker = Callable[..., Chip]


@pytest.fixture
def chips(tmp_path: Path, invented_chip: ChipMaker) -> Path:
    """A folder with two chip files."""
    folder = tmp_path / "chips"
    folder.mkdir()
    for part in ("AB12", "QZ5710"):
        text = chip_to_yaml(invented_chip(part))
        (folder / f"{part}.yaml").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture
def read(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The names of the files that were really read and checked."""
    names: list[str] = []
    chip = Record.read_chip

    def noted(record: Record) -> tuple[Chip, str]:
        names.append(Path(record.file).stem)
        return chip(record)

    monkeypatch.setattr(Record, "read_chip", noted)
    return names


def test_an_unchanged_file_is_not_read_again(
    chips: Path, tmp_path: Path, read: list[str], invented_chip: ChipMaker
) -> None:
    first = build_folio([chips], tmp_path / "a.db", cache=tmp_path / "cache")
    assert read == ["AB12", "QZ5710"]
    text = chip_to_yaml(invented_chip("QZ5710", summary="Now described otherwise."))
    (chips / "QZ5710.yaml").write_text(text, encoding="utf-8")
    second = build_folio([chips], tmp_path / "b.db", cache=tmp_path / "cache")
    assert read == ["AB12", "QZ5710", "QZ5710"]
    assert second.digest == build_folio([chips], tmp_path / "c.db").digest != first.digest


def test_the_folio_is_the_same_to_the_last_row(chips: Path, tmp_path: Path) -> None:
    for name in ("a.db", "b.db"):
        build_folio([chips], tmp_path / name, cache=tmp_path / "cache")
    first, second = (read_rows(tmp_path / name) for name in ("a.db", "b.db"))
    assert first == second
    assert len(first["pin_expectation"]) > 1


def read_rows(folio: Path) -> dict[str, list[object]]:
    """The rows of each table, without the time of the build."""
    connection = sqlite3.connect(folio)
    return {
        table: connection.execute(f"SELECT * FROM {table}").fetchall()
        for table in (
            *COLUMNS,
            "level",
            "signal",
            "resistance",
            "chip_document",
        )
    }


def test_another_version_reads_everything_again(
    chips: Path, tmp_path: Path, read: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    build_folio([chips], tmp_path / "a.db", cache=tmp_path / "cache")
    monkeypatch.setattr(chip_cache, "version", lambda name: "99")
    build_folio([chips], tmp_path / "a.db", cache=tmp_path / "cache")
    assert len(read) == 4


def test_a_file_with_faults_is_never_kept(chips: Path, tmp_path: Path) -> None:
    (chips / "bad.yaml").write_text("part: QZ1\n", encoding="utf-8")
    for _ in range(2):
        with pytest.raises(ChipFileError):
            build_folio([chips], tmp_path / "a.db", cache=tmp_path / "cache")
        build_folio([chips], tmp_path / "a.db", cache=tmp_path / "cache", rejected=lambda _: None)


@settings(max_examples=30, deadline=None)
@given(st.binary(max_size=3000), st.integers(0, 40_000))
def test_a_damaged_cache_is_no_fault_of_a_build(
    tmp_path_factory: pytest.TempPathFactory,
    invented_chip: ChipMaker,
    damage: bytes,
    at: int,
) -> None:
    folder = tmp_path_factory.mktemp("damaged")
    (folder / "a.yaml").write_text(chip_to_yaml(invented_chip()), encoding="utf-8")
    whole = build_folio([folder / "a.yaml"], folder / "a.db", cache=folder).digest
    path = folder / "chip-files.db"
    held = path.read_bytes()
    path.write_bytes(held[:at] + damage + held[at + len(damage) :])
    for _ in range(2):
        assert build_folio([folder / "a.yaml"], folder / "a.db", cache=folder).digest == whole


def test_an_entry_whose_bytes_changed_is_read_anew(
    chips: Path, tmp_path: Path, read: list[str]
) -> None:
    whole = build_folio([chips], tmp_path / "a.db", cache=tmp_path).digest
    with sqlite3.connect(tmp_path / "chip-files.db") as cache:
        cache.execute("UPDATE chip_file SET prepared = CAST(substr(prepared, 1, 100) AS BLOB)")
    assert build_folio([chips], tmp_path / "a.db", cache=tmp_path).digest == whole
    assert len(read) == 4


def test_a_folder_that_cannot_be_written_only_takes_the_time(chips: Path, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    info = build_folio([chips], tmp_path / "a.db", cache=tmp_path / "file")
    assert info.chips == 2


def test_builds_at_the_same_time_share_the_cache(chips: Path, tmp_path: Path) -> None:
    digests: list[str] = []

    def build(name: str) -> None:
        for _ in range(3):
            digests.append(build_folio([chips], tmp_path / name, cache=tmp_path / "cache").digest)

    threads = [threading.Thread(target=build, args=(f"{n}.db",)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(digests) == 12
    assert len(set(digests)) == 1


def test_what_was_not_used_for_longest_goes_first(
    chips: Path, tmp_path: Path, read: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    build_folio([chips], tmp_path / "a.db", cache=tmp_path)
    with sqlite3.connect(tmp_path / "chip-files.db") as cache:
        old = "INSERT INTO chip_file SELECT randomblob(32), zeroblob(100000), 1 FROM json_each(?)"
        cache.execute(old, (str([*range(1500)]),))
    monkeypatch.setattr(chip_cache, "_MOST_BYTES", 80_000_000)
    build_folio([chips], tmp_path / "a.db", cache=tmp_path)
    with sqlite3.connect(tmp_path / "chip-files.db") as cache:
        left = cache.execute("SELECT count(*), sum(used > 1) FROM chip_file").fetchone()
    assert left == (502, 2)
    assert len(read) == 2


def test_what_the_cache_gives_back_is_what_went_in(chips: Path) -> None:
    record = Record("x.yaml", (chips / "AB12.yaml").read_bytes())
    made = prepared.prepare(record)
    assert isinstance(made, prepared.PreparedChip)
    assert prepared.from_bytes(prepared.to_bytes(made), "x.yaml") == made
