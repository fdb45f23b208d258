"""Building a folio: whole or not at all, the same from the same chips, and open to Datasette."""

from __future__ import annotations

import hashlib
import re
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import sqlite_utils
from datasette.app import Datasette
from pinfolio.loaders.chip_files.chip_file import chip_to_yaml
from pinfolio.loaders.folio.build import build_folio, build_from_chips
from pinfolio.loaders.folio.folio import Folio, open_folio
from pinfolio.loaders.folio.folio_file import SCHEMA_VERSION
from pinfolio.schema import Chip

ChipMaker = Callable[..., Chip]


@pytest.fixture
def folio_path(tmp_path: Path, invented_chip: ChipMaker) -> Path:
    build_from_chips([invented_chip("QZ5710"), invented_chip("AB12")], tmp_path / "folio.db")
    return tmp_path / "folio.db"


def chip_files(folder: Path, *chips: Chip) -> list[Path]:
    """One chip file for each chip."""
    folder.mkdir(exist_ok=True)
    paths = [folder / f"{chip.part}.yaml" for chip in chips]
    for path, chip in zip(paths, chips, strict=True):
        path.write_text(chip_to_yaml(chip), encoding="utf-8")
    return paths


def test_chip_files_and_folders_of_them_become_a_folio(
    tmp_path: Path, invented_chip: ChipMaker
) -> None:
    one, two, three = (invented_chip(part) for part in ("QZ5710", "QZ5712", "AB12"))
    chip_files(tmp_path / "shelf", one, two)
    (single,) = chip_files(tmp_path / "desk", three)
    info = build_folio([tmp_path / "shelf", single], tmp_path / "folio.db")
    assert (info.chips, info.pins, info.all_invented) == (3, 24, True)
    with open_folio(tmp_path / "folio.db") as folio:
        assert list(folio.chips()) == [three, one, two]


def test_the_digest_depends_on_the_chips_alone(tmp_path: Path, invented_chip: ChipMaker) -> None:
    chips = [invented_chip("QZ5710"), invented_chip("AB12")]
    documents = [chip.model_dump_json(exclude_defaults=True) for chip in reversed(chips)]
    digests = [hashlib.sha256(text.encode()).hexdigest() for text in documents]
    digest = hashlib.sha256("".join(f"{each}\n" for each in digests).encode()).hexdigest()
    assert build_from_chips(chips, tmp_path / "one.db").digest == digest
    assert build_from_chips(chips[::-1], tmp_path / "two.db").digest == digest
    assert build_folio(chip_files(tmp_path, *chips), tmp_path / "three.db").digest == digest
    assert build_from_chips(chips[:1], tmp_path / "four.db").digest != digest


def test_progress_is_told_after_each_chip(tmp_path: Path, invented_chip: ChipMaker) -> None:
    told: list[tuple[int, int, str]] = []
    paths = chip_files(tmp_path, invented_chip("AB12"), invented_chip("QZ5710"))
    build_folio(paths, tmp_path / "folio.db", lambda *step: told.append(step))
    assert told == [(1, 2, "AB12"), (2, 2, "QZ5710")]


def test_chips_are_taken_one_by_one(tmp_path: Path, invented_chip: ChipMaker) -> None:
    """A stored chip is freed before the next is made, so that a large folio fits in memory."""
    events: list[str] = []

    def make() -> Iterator[Chip]:
        for part in ("AB12", "QZ5710"):
            events.append(f"made {part}")
            yield invented_chip(part)

    build_from_chips(make(), tmp_path / "folio.db", lambda _d, _t, part: events.append(part))
    assert events == ["made AB12", "AB12", "made QZ5710", "QZ5710"]


def test_every_table_holds_what_the_chip_says(folio_path: Path) -> None:
    db = sqlite_utils.Database(folio_path)

    def first(sql: str) -> dict[str, object]:
        return next(db.query(f"{sql} AND chip = 'AB12'"))

    assert all(
        table.count
        for table in db.tables
        if not table.name.startswith(("note", "attachment", "fault", "proposal", "uncompared"))
        and "_fts" not in table.name
    )
    chip = db.table("chip").get("AB12")
    assert (chip["part_key"], chip["package"], chip["pin_count"]) == ("AB12", "DIP-8", 8)
    keys = db.table("marking").rows_where("chip = 'AB12'", order_by="key")
    assert [row["key"] for row in keys] == ["AB12", "AB12N", "UAB12"]
    assert (
        first("SELECT * FROM pin WHERE number = 1").items()
        >= {
            "symbol": "CVBS IN",
            "absolute_maximum_v": 9.0,
            "resistance_ohm": 10e3,
            "capacitance_f": 8e-12,
            "blocks": "sync separator",
        }.items()
    )
    assert first("SELECT value, capacitance_f, zener_v FROM part WHERE ref = 'C1'") == {
        "value": "8p2",
        "capacitance_f": 8.2e-12,
        "zener_v": None,
    }
    assert first("SELECT typ_v, min_v, max_v, current_a FROM supply WHERE 1") == {
        "typ_v": 8.0,
        "min_v": 7.6,
        "max_v": 8.4,
        "current_a": 0.06,
    }


def test_expectations_say_what_is_stated_and_what_assumed(folio_path: Path) -> None:
    db = sqlite_utils.Database(folio_path)
    sql = "SELECT * FROM expectation WHERE chip = 'AB12' ORDER BY pin IS NULL, pin"
    video, killer, collector = db.query(sql)
    assert (
        video.items()
        >= {
            "condition": "colour bars",
            "dc_typ_v": 3.1,
            "dc_min_v": 2.79,
            "dc_max_v": 3.41,
            "dc_stated": 1,
            "waveform_kind": "sine",
            "frequency_hz": 1000.0,
            "red_on_pin_ohm": 12e3,
            "black_on_pin_ohm": 8.4e3,
            "source": "sheet",
            "page": 7,
        }.items()
    )
    assert (video["vpp_v"], video["mean_v"]) == pytest.approx((1.0, 3.1))
    assert (killer["dc_min_v"], killer["dc_max_v"], killer["dc_stated"]) == (2.25, 2.75, 0)
    assert (collector["node"], collector["dc_typ_v"]) == ("collector", 60.0)


def test_tables_are_strict_and_hold_together(folio_path: Path) -> None:
    db = sqlite_utils.Database(folio_path)
    tables = [
        table for table in db.tables if "_fts" not in table.name and table.name[:7] != "sqlite_"
    ]
    assert len(tables) == 27
    assert all(table.strict for table in tables)
    alone = {"chip", "folio", "attachment", "proposal", "uncompared_shop", "word", "facet"}
    alone |= {"condition", "level", "signal", "resistance"}
    assert all(table.foreign_keys for table in tables if table.name not in alone)
    assert db.execute("PRAGMA foreign_key_check").fetchall() == []
    with pytest.raises(sqlite3.IntegrityError, match="cannot store TEXT value in REAL column"):
        db.execute("UPDATE pin SET resistance_ohm = '4k7'")


def test_a_parameter_has_its_limits_unit_and_place(folio_path: Path) -> None:
    (row,) = sqlite_utils.Database(folio_path).query("SELECT * FROM parameter WHERE chip = 'AB12'")
    assert (row["name"], row["supply"], row["pins"]) == ("supply current", "VCC", None)
    assert (row["min"], row["typ"], row["max"], row["unit"]) == (None, 0.04, 0.06, "A")
    assert (row["source"], row["page"], row["place"]) == ("sheet", 3, "row 2")


def test_numeric_columns_end_in_their_unit(folio_path: Path) -> None:
    units = {"v", "ohm", "f", "h", "hz", "s", "a", "percent"}
    for table in sqlite_utils.Database(folio_path).tables:
        has_unit = "unit" in table.columns_dict  # the unit of each row is in a column of its own
        for column in table.columns:
            if column.type == "REAL" and not has_unit:
                assert column.name.rpartition("_")[2] in units, f"{table.name}.{column.name}"


def test_the_file_is_marked_as_a_folio_and_left_tidy(folio_path: Path) -> None:
    pragma = sqlite3.connect(folio_path).execute
    assert pragma("PRAGMA application_id").fetchone()[0].to_bytes(4) == b"PFol"
    assert pragma("PRAGMA user_version").fetchone() == (SCHEMA_VERSION,)
    assert pragma("PRAGMA journal_mode").fetchone() == ("delete",)
    assert pragma("SELECT count(*) FROM sqlite_stat1").fetchone() > (0,)
    assert list(folio_path.parent.iterdir()) == [folio_path]


def test_word_indexes_agree_with_their_tables(folio_path: Path) -> None:
    db = sqlite3.connect(folio_path)
    for table in ("chip", "pin"):
        db.execute(f"INSERT INTO {table}_fts ({table}_fts, rank) VALUES ('integrity-check', 1)")


@pytest.mark.parametrize(
    ("address", "expected"),
    [
        ("pin.json?_search=killer&_shape=array", {"colour killer filter"}),
        ("pin.json?_search=separator&_shape=array", {"composite video input"}),
        ("chip.json?_search=QZ5710N&_shape=array", {"QZ5710"}),
    ],
)
async def test_datasette_recognises_the_word_indexes(
    folio_path: Path, address: str, expected: set[str]
) -> None:
    """An index that Datasette does not recognise gives every row, with status 200."""
    datasette = Datasette([], immutables=[str(folio_path)])
    rows = (await datasette.client.get(f"/folio/{address}")).json()
    assert {row.get("function", row.get("part")) for row in rows} == expected


async def test_datasette_reads_chips_through_its_own_connection(folio_path: Path) -> None:
    database = Datasette([], immutables=[str(folio_path)]).get_database("folio")
    chip = await database.execute_fn(lambda connection: Folio(connection).chip("AB12"))
    assert chip.part == "AB12"


def test_the_searches_asked_for_use_an_index(folio_path: Path) -> None:
    db = sqlite3.connect(folio_path)
    for where in ("chip WHERE part_key = 'X'", "marking WHERE key >= 'X' AND key < 'Y'"):
        plan = db.execute(f"EXPLAIN QUERY PLAN SELECT * FROM {where}").fetchall()
        assert re.search("SEARCH .* USING .*INDEX", plan[0][3]), plan
