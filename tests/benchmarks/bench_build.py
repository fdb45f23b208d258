"""How fast a folio is built, how large it gets, and in how much memory.

Against plain sqlite3 writing the same rows by executemany into the same tables, with the same
indexes and word indexes. Ours also reads and validates chips, turns them into rows, takes the
digest, checks the finished file, seals it and waits until it is on the disk.
"""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from catalogue import generate_chips, write_catalogue_file
from pinfolio.loaders import folio
from pinfolio.loaders.chip_files.chip_file import chip_to_yaml
from pinfolio.loaders.folio.build import build_folio

CHIPS = int(os.environ.get("PINFOLIO_BENCHMARK_CHIPS", "10000"))
FILES = min(CHIPS, 1000)

Rows = dict[str, tuple[str, list[tuple[Any, ...]]]]


def list_rows(folio: Path) -> Rows:
    """The rows of every table, each with the statement that inserts them."""
    database = sqlite3.connect(folio)
    names = "SELECT name FROM sqlite_schema WHERE sql LIKE '%STRICT%' ORDER BY rowid"
    rows: Rows = {}
    for (table,) in database.execute(names).fetchall():
        if table not in ("word", "facet"):  # these come with the indexes
            found = database.execute(f"SELECT * FROM {table}")
            places = ", ".join("?" * len(found.description))
            rows[table] = f"INSERT INTO {table} VALUES ({places})", found.fetchall()
    return rows


def write_plainly(rows: Rows, path: Path) -> None:
    path.unlink(missing_ok=True)
    database = sqlite3.connect(path, isolation_level=None)
    script = files(folio).joinpath("folio_tables.sql").read_text()
    database.executescript(f"PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF; BEGIN; {script}")
    for statement, values in rows.values():
        database.executemany(statement, values)
    database.execute("COMMIT")
    database.executescript(files(folio).joinpath("folio_indexes.sql").read_text())
    database.close()


def test_build_from_json_lines(
    tmp_path: Path,
    report: Callable[..., None],
    seconds_in_turn: Callable[..., list[float]],
) -> None:
    lines, ours, plain = write_catalogue_file(CHIPS), tmp_path / "ours.db", tmp_path / "plain.db"
    info = build_folio([lines], ours)
    rows = list_rows(ours)
    ours_s, alone_s, plain_s = seconds_in_turn(
        lambda: build_folio([lines], ours),
        lambda: build_folio([lines], ours, processes=1),
        lambda: write_plainly(rows, plain),
    )
    size = ours.stat().st_size
    more = {"chips_per_second": info.chips / ours_s, "bytes_per_pin": size / info.pins}
    report("build from JSON Lines", ours_s, plain_s, **more)
    report("build from JSON Lines, one process", alone_s, plain_s)
    assert list_rows(plain)["pin"] == rows["pin"]


@pytest.fixture(scope="module")
def chip_files(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("chips")
    for chip in generate_chips(FILES):
        (folder / f"{chip.part}.yaml").write_text(chip_to_yaml(chip), encoding="utf-8")
    return folder


def test_chip_files_in_two_processes(
    chip_files: Path,
    tmp_path: Path,
    report: Callable[..., None],
    seconds_in_turn: Callable[..., list[float]],
) -> None:
    """Also: the same files again, unchanged, from the cache."""
    two_s, one_s, cached_s = seconds_in_turn(
        lambda: build_folio([chip_files], tmp_path / "two.db", processes=2),
        lambda: build_folio([chip_files], tmp_path / "one.db", processes=1),
        lambda: build_folio([chip_files], tmp_path / "cached.db", cache=tmp_path, processes=1),
    )
    report(f"{FILES} chip files in two processes", two_s, one_s, files_per_second=FILES / two_s)
    report(f"{FILES} chip files unchanged", cached_s, one_s, files_per_second=FILES / cached_s)


_MEASURED = r"""
import re, sys
from pathlib import Path
from pinfolio.loaders.folio.build import build_folio
if __name__ == "__main__":
    build_folio([Path(sys.argv[1])], Path(sys.argv[2]))
    print(re.search(r"VmHWM:\s*([0-9]+)", Path("/proc/self/status").read_text())[1])
"""


def test_memory(tmp_path: Path, report: Callable[..., None]) -> None:
    """Peak memory of the first process, in megabytes, against a build of a single chip."""
    program = tmp_path / "measured.py"
    program.write_text(_MEASURED)

    def peak_mb(chips: int) -> float:
        command = [sys.executable, str(program), write_catalogue_file(chips), tmp_path / "folio.db"]
        return int(subprocess.check_output(command, text=True)) / 1000

    # Megabytes in the places of seconds, which are printed as if they were milliseconds.
    report("peak megabytes", peak_mb(CHIPS) / 1e3, peak_mb(1) / 1e3, chips=CHIPS)
