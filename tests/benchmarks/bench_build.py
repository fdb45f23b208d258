"""How fast a folio is built: against plain sqlite3 writing the same rows by executemany.

Both make the same tables, indexes and word indexes. Ours also turns chips into rows, takes the
digest, checks the finished file and waits until it is on the disk. From models, what a waveform
computes once is computed already; from chip files nothing is.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

from pinfolio import loaders
from pinfolio.loaders.build import build_folio, build_from_chips
from pinfolio.loaders.chip_file import write_chip
from pinfolio.schema import Chip

MakeChips = Callable[[], Iterator[Chip]]
Rows = dict[str, tuple[str, list[tuple[Any, ...]]]]


def rows_of(folio: Path) -> Rows:
    """The rows of every table, each with the statement that inserts them."""
    database = sqlite3.connect(folio)
    names = "SELECT name FROM sqlite_schema WHERE sql LIKE '%STRICT' ORDER BY rowid"
    rows: Rows = {}
    for (table,) in database.execute(names).fetchall():
        found = database.execute(f"SELECT * FROM {table}")
        places = ", ".join("?" * len(found.description))
        rows[table] = f"INSERT INTO {table} VALUES ({places})", found.fetchall()
    return rows


def write_plainly(rows: Rows, path: Path) -> None:
    path.unlink(missing_ok=True)
    database = sqlite3.connect(path, isolation_level=None)
    script = files(loaders).joinpath("folio_tables.sql").read_text()
    database.executescript(f"PRAGMA synchronous = OFF; BEGIN; {script}")
    for statement, values in rows.values():
        database.executemany(statement, values)
    database.execute("COMMIT")
    database.executescript(files(loaders).joinpath("folio_indexes.sql").read_text())
    database.close()


def test_build_from_models(
    made_chips: MakeChips,
    tmp_path: Path,
    report: Callable[..., None],
    seconds: Callable[..., float],
) -> None:
    chips = list(made_chips())
    info = build_from_chips(chips, tmp_path / "ours.db")
    rows = rows_of(tmp_path / "ours.db")
    ours_s = seconds(lambda: build_from_chips(chips, tmp_path / "ours.db"))
    plain_s = seconds(lambda: write_plainly(rows, tmp_path / "plain.db"))
    size = (tmp_path / "ours.db").stat().st_size
    report(
        "build from models",
        ours_s,
        plain_s,
        pins_per_second=info.pins / ours_s,
        bytes_per_pin=size / info.pins,
    )
    assert rows_of(tmp_path / "plain.db")["pin"] == rows["pin"]


def test_build_from_chip_files(
    made_chips: MakeChips,
    tmp_path: Path,
    report: Callable[..., None],
    seconds: Callable[..., float],
) -> None:
    chips = [chip for _, chip in zip(range(50), made_chips(), strict=False)]
    for chip in chips:
        (tmp_path / f"{chip.part}.yaml").write_text(write_chip(chip), encoding="utf-8")
    info = build_folio([tmp_path], tmp_path / "ours.db")
    rows = rows_of(tmp_path / "ours.db")
    ours_s = seconds(lambda: build_folio([tmp_path], tmp_path / "ours.db"))
    plain_s = seconds(lambda: write_plainly(rows, tmp_path / "plain.db"))
    report("build from 50 chip files", ours_s, plain_s, chips_per_second=info.chips / ours_s)
    assert info.chips == len(chips)
