"""Costs of pooling a million readings and of querying them; of publishing and fetching.

Plain is SQLite reading the same rows, and the system copying the same file.
"""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import duckdb
import pytest
from pinfolio.data_demo import chip_files, note_files
from pinfolio.loaders.folio.build import build_folio
from pinfolio.loaders.folio.folio_placement import replace_folio
from pinfolio.loaders.publishing.download_source import Source
from pinfolio.loaders.publishing.fetching import fetch_folio
from pinfolio.loaders.publishing.published_folder import publish
from pinfolio.loaders.publishing.readings_table import write_readings

READINGS = 1_000_000

# Readings of 400 shops at the pins of the demonstration, drawn by a congruential sequence.
_MANY = f"""
WITH RECURSIVE n (i, r) AS (
  SELECT 1, 12345 UNION ALL SELECT i + 1, (r * 1103515245 + 12345) % 2147483648
  FROM n WHERE i < {READINGS}
)
INSERT INTO note (note, digest, chip, place, pin, kind, shop, author, date, confidence, sets,
                  condition, dc_v, vpp_v, in_conflict, document)
SELECT lower(hex(randomblob(8))), lower(hex(randomblob(32))), pin.chip, 'pin ' || pin.number,
       pin.id, 'known-good reading', 'shop-' || (r / 1000 % 400), 'somebody',
       date('2020-01-01', (r / 7 % 2000) || ' days'), 'once', 1 + r % 3, 'colour bars',
       3 + (r % 1000) / 1000.0, 1 + (r / 1000 % 1000) / 1000.0, 0,
       '{{"meter": "digital meter"}}'
FROM n JOIN pin ON pin.id = 1 + n.r / 8192 % (SELECT count(*) FROM pin)
"""

_QUESTION = """
SELECT {place}, count(*), sum(sets), count(DISTINCT shop), {spread} FROM {table}
WHERE dc_v IS NOT NULL GROUP BY 1 ORDER BY 2 DESC LIMIT 20
"""


@pytest.fixture(scope="module")
def folio(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demonstration with a million readings more."""
    folder = tmp_path_factory.mktemp("many")
    build_folio([*chip_files(), *note_files()], folder / "demo.db")
    with replace_folio(folder / "folio.db") as new:
        shutil.copyfile(folder / "demo.db", new)
        with closing(sqlite3.connect(new)) as connection:
            connection.executescript(f"PRAGMA synchronous = OFF; {_MANY}; VACUUM")
    return folder / "folio.db"


def test_pooling_and_asking(
    folio: Path, tmp_path: Path, seconds: Callable[..., float], report: Callable[..., None]
) -> None:
    out = tmp_path / "readings.parquet"
    with closing(sqlite3.connect(folio)) as lite, duckdb.connect() as duck:
        rows = "SELECT * FROM note WHERE kind = 'known-good reading' ORDER BY chip, place, note"
        size = out.stat().st_size if write_readings(folio, out) else 0
        report(
            "pool-readings to reading the rows by SQL",
            seconds(lambda: write_readings(folio, out)),
            seconds(lambda: sum(1 for _ in lite.execute(rows))),
            readings=READINGS,
            bytes_a_reading=size / READINGS,
        )
        in_table = _QUESTION.format(
            place="part || ' pin ' || pin", spread="stddev(dc_v)", table=f"'{out}'"
        )
        in_folio = _QUESTION.format(
            place="chip || ' ' || place", spread="avg(dc_v * dc_v)", table="note"
        )
        report(
            "a question to DuckDB on the table, to SQLite on the folio",
            seconds(lambda: duck.execute(in_table).fetchall()),
            seconds(lambda: lite.execute(in_folio).fetchall()),
        )


def test_publishing_and_fetching(
    folio: Path, tmp_path: Path, seconds: Callable[..., float], report: Callable[..., None]
) -> None:
    public, here = tmp_path / "public", tmp_path / "here.db"
    copy_s = seconds(lambda: shutil.copyfile(folio, tmp_path / "copy.db"))
    size = folio.stat().st_size >> 20

    def publish_anew() -> None:
        shutil.rmtree(public, ignore_errors=True)
        publish(folio, public)

    def fetch_anew() -> None:
        here.unlink(missing_ok=True)
        fetch_folio(Source(str(public)), here)

    report("publish to copying the file", seconds(publish_anew), copy_s, megabytes=size)
    report("publish again to copying", seconds(lambda: publish(folio, public)), copy_s)
    report("fetch-folio to copying", seconds(fetch_anew), copy_s)
    report(
        "fetch-folio of what is here to copying",
        seconds(lambda: fetch_folio(Source(str(public)), here)),
        copy_s,
    )
