"""Readings of many shops as Parquet: queried by DuckDB, compared with the folio they come from."""

from __future__ import annotations

import os
import re
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import duckdb
import pyarrow.parquet
import pytest
from pinfolio.data_demo import chip_files, note_files
from pinfolio.loaders import FolioError, open_folio
from pinfolio.loaders.folio.build import build_folio
from pinfolio.loaders.publishing import readings_table
from pinfolio.loaders.publishing.readings_table import (
    READING_COLUMNS,
    TableError,
    write_readings,
    write_tables,
)

README = Path(__file__).parents[3] / "loaders" / "publishing" / "README.md"


@pytest.fixture(scope="module")
def folio(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("folio") / "demo.db"
    build_folio([*chip_files(), *note_files()], path)
    return path


@pytest.fixture(scope="module")
def table(folio: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("table") / "readings.parquet"
    write_readings(folio, path)
    return path


def query_table(path: Path, sql: str) -> list[tuple[Any, ...]]:
    """The answer of DuckDB; ``readings`` in the question is the table."""
    with duckdb.connect() as connection:
        connection.execute(f"CREATE VIEW readings AS SELECT * FROM '{path}'")
        return connection.execute(sql).fetchall()


def query_folio(folio: Path, sql: str) -> list[tuple[Any, ...]]:
    with closing(sqlite3.connect(folio)) as connection:
        return connection.execute(sql).fetchall()


SUMS = (
    "count(*), count(dc_v), sum(dc_v), count(vpp_v), sum(vpp_v), count(frequency_hz),"
    " sum(frequency_hz), count(resistance_ohm), sum(sets), count(DISTINCT shop)"
)


def test_counts_and_sums_are_those_of_the_folio(folio: Path, table: Path) -> None:
    """The same sums by two database engines: DuckDB on the table, SQLite on the folio."""
    (found,) = query_table(table, f"SELECT {SUMS} FROM readings")
    (expected,) = query_folio(folio, f"SELECT {SUMS} FROM note WHERE kind = 'known-good reading'")
    assert found == pytest.approx(expected)
    assert found[0] > 20


def test_sums_by_pin_and_condition_are_those_of_the_folio(folio: Path, table: Path) -> None:
    wanted = "pin.number, condition, count(*), avg(dc_v)"
    found = query_table(
        table,
        "SELECT part, pin, condition, count(*), avg(dc_v) FROM readings WHERE pin IS NOT NULL"
        " GROUP BY ALL ORDER BY ALL",
    )
    expected = query_folio(
        folio,
        f"SELECT note.chip, {wanted} FROM note JOIN pin ON pin.id = note.pin"
        " WHERE kind = 'known-good reading' GROUP BY 1, 2, 3 ORDER BY 1, 2, 3",
    )
    assert [row[:4] for row in found] == [row[:4] for row in expected]
    assert [row[4] for row in found] == pytest.approx([row[4] for row in expected])


def test_every_row_is_a_note_that_can_be_looked_up(folio: Path, table: Path) -> None:
    rows = query_table(table, "SELECT note_digest, part, place, date, meter, chassis FROM readings")
    with open_folio(folio) as opened:
        for digest, part, place, date, meter, chassis in rows:
            (note,) = [one for one in opened.notes(part, [place]) if one.digest == digest]
            assert (note.date, note.meter, note.chassis) == (date.isoformat(), meter, chassis)


def test_each_column_says_what_it_means_and_who_wrote_is_not_there(table: Path) -> None:
    schema = pyarrow.parquet.read_schema(table)
    assert schema.names == [column.name for column in READING_COLUMNS]
    for field, column in zip(schema, READING_COLUMNS, strict=True):
        assert field.metadata[b"description"].decode() == column.description
        assert field.nullable == column.is_nullable
    assert schema.metadata[b"format"] == b"pinfolio readings 1"
    assert "author" not in schema.names


def test_the_schema_is_documented() -> None:
    text = README.read_text(encoding="utf-8")
    for column in READING_COLUMNS:
        assert f"`{column.name}`" in text


def test_rows_come_in_groups_so_that_memory_is_bounded(
    folio: Path, tmp_path: Path, table: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(readings_table, "GROUP_ROWS", 10)
    out = tmp_path / "groups.parquet"
    told: list[int] = []
    count = write_readings(folio, out, lambda done, total, what: told.append(done))
    groups = pyarrow.parquet.ParquetFile(out).metadata.num_row_groups
    assert groups == -(-count // 10) == len(told)
    everything = "SELECT * FROM readings"
    assert query_table(out, everything) == query_table(table, everything)


def test_the_same_folio_gives_the_same_table(folio: Path, table: Path, tmp_path: Path) -> None:
    write_readings(folio, tmp_path / "again.parquet")
    assert (tmp_path / "again.parquet").read_bytes() == table.read_bytes()


def test_tables_of_several_shops_are_asked_together(
    folio: Path, table: Path, tmp_path: Path
) -> None:
    write_readings(folio, tmp_path / "a.parquet")
    write_readings(folio, tmp_path / "b.parquet")
    (once,) = query_table(table, "SELECT count(*) FROM readings")
    (both,) = query_table(
        tmp_path / "*.parquet", "SELECT count(*), count(DISTINCT note_digest) FROM readings"
    )
    assert both == (2 * once[0], once[0])


def test_the_question_in_the_documentation_is_answered(
    table: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = README.read_text(encoding="utf-8")
    (question,) = re.findall(r"\n    (SELECT part, pin.+?)\n\n", text, re.DOTALL)
    (tmp_path / "pool").mkdir()
    for name in ("a", "b"):
        (tmp_path / "pool" / f"{name}.parquet").write_bytes(table.read_bytes())
    monkeypatch.chdir(tmp_path)
    with duckdb.connect() as connection:
        rows = connection.execute(question).fetchall()
    (count,) = query_table(table, "SELECT count(dc_v) FROM readings")[0]
    assert sum(row[3] for row in rows) == count


def test_a_folio_without_readings_gives_an_empty_table(tmp_path: Path) -> None:
    build_folio(chip_files()[:1], tmp_path / "bare.db")
    assert write_readings(tmp_path / "bare.db", tmp_path / "r.parquet") == 0
    assert query_table(tmp_path / "r.parquet", "SELECT count(*), sum(dc_v) FROM readings") == [
        (0, None)
    ]


def test_chips_pins_and_expectations_are_those_of_the_folio(folio: Path, tmp_path: Path) -> None:
    written = write_tables(folio, tmp_path)
    for path, count in written.items():
        (in_table,) = query_table(path, "SELECT count(*) FROM readings")
        assert query_folio(folio, f"SELECT count(*) FROM {path.stem}") == [in_table] == [(count,)]
    sums = "sum(dc_typ_v), sum(frequency_hz), count(vpp_v), count(DISTINCT condition)"
    (found,) = query_table(tmp_path / "expectation.parquet", f"SELECT {sums} FROM readings")
    (expected,) = query_folio(folio, f"SELECT {sums} FROM expectation")
    assert found == pytest.approx(expected)


def test_what_cannot_be_written_leaves_the_old_table(
    folio: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "readings.parquet"
    out.write_bytes(b"PAR1 old")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(TableError, match="No space left on device"):
        write_readings(folio, out)
    assert [path.name for path in tmp_path.iterdir()] == ["readings.parquet"]
    assert out.read_bytes() == b"PAR1 old"


def test_a_file_of_another_kind_is_not_replaced(folio: Path, tmp_path: Path) -> None:
    """The four bytes that begin a Parquet file: https://parquet.apache.org/docs/file-format/."""
    out = tmp_path / "chip.yaml"
    out.write_text("part: QZ5710\n")
    with pytest.raises(TableError, match="holds a file of another kind"):
        write_readings(folio, out)
    assert out.read_text() == "part: QZ5710\n"


def test_without_pyarrow_the_message_says_how_to_get_it(
    folio: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(readings_table, "find_spec", lambda name: None)
    with pytest.raises(TableError, match=r"pip install 'pinfolio\[parquet\]'"):
        write_readings(folio, tmp_path / "r.parquet")


def test_what_is_no_folio_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FolioError, match="no such file"):
        write_readings(tmp_path / "none.db", tmp_path / "r.parquet")
