"""How fast a folio answers: against plain sqlite3 reading the same rows."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from pinfolio.loaders.folio.build import build_from_chips
from pinfolio.loaders.folio.folio import open_folio
from pinfolio.loaders.words import thesaurus
from pinfolio.loaders.words.full_text_query import build_match_query
from pinfolio.schema import Chip

MakeChips = Callable[[], Iterator[Chip]]
Report = Callable[..., None]
Seconds = Callable[..., float]


@pytest.fixture(scope="module")
def path(made_chips: MakeChips, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("folio") / "folio.db"
    build_from_chips(made_chips(), path)
    return path


@pytest.fixture
def plain(path: Path) -> Iterator[Callable[..., list[tuple[object, ...]]]]:
    """All rows of a statement, by a plain connection."""
    connection = sqlite3.connect(path)
    yield lambda sql, *values: connection.execute(sql, values).fetchall()
    connection.close()


def test_open(path: Path, report: Report, seconds: Seconds) -> None:
    def plain_open() -> None:
        connection = sqlite3.connect(path)
        connection.execute("SELECT * FROM folio").fetchone()
        connection.close()

    report("open", seconds(lambda: open_folio(path).close(), 50), seconds(plain_open, 50))


def test_a_chip_with_its_pins(
    path: Path, plain: Callable[..., object], report: Report, seconds: Seconds
) -> None:
    def plain_chip() -> None:
        plain("SELECT * FROM chip WHERE part_key = 'QZ10500'")
        plain(
            "SELECT * FROM pin JOIN expectation ON expectation.pin = pin.id"
            " WHERE pin.chip = 'QZ10500'"
        )

    with open_folio(path) as folio:
        assert len(folio.chip("qz-10500").pins) == 40
        report(
            "a chip as models, with its pins",
            seconds(lambda: folio.chip("qz-10500"), 20),
            seconds(plain_chip, 20),
        )


@pytest.mark.parametrize(
    ("name", "where"),
    [
        ("prefix", "key >= 'QZ105' AND key < 'QZ106'"),
        ("fragment", "instr(key, '105') > 0"),
    ],
)
def test_a_part_of_a_marking(
    name: str,
    where: str,
    path: Path,
    plain: Callable[..., object],
    report: Report,
    seconds: Seconds,
) -> None:
    sql = (
        "SELECT chip.part, maker, kind, text FROM marking JOIN chip ON part = marking.chip"
        f" WHERE {where} LIMIT 20"
    )
    with open_folio(path) as folio:
        ask = {
            "prefix": lambda: folio.find_chips_by_prefix("QZ105"),
            "fragment": lambda: folio.find_chips_by_fragment("105"),
        }[name]
        assert len(ask()) == 20
        report(f"{name} of a marking", seconds(ask, 20), seconds(lambda: plain(sql), 20))


def test_the_nearest_parts(
    path: Path, plain: Callable[..., object], report: Report, seconds: Seconds
) -> None:
    with open_folio(path) as folio:
        assert folio.nearest_parts("QZ1O500")[0] == "QZ10500"
        report(
            "nearest parts, all markings looked at",
            seconds(lambda: folio.nearest_parts("QZ1O500"), 5),
            seconds(lambda: plain("SELECT key, chip FROM marking"), 5),
        )


@pytest.mark.parametrize("typed", ["color killer", "BGP filter", "horizontal oscillator"])
def test_words_over_pins(
    typed: str, path: Path, plain: Callable[..., object], report: Report, seconds: Seconds
) -> None:
    expand = thesaurus.load_thesaurus().expand
    query = build_match_query(expand(typed))
    sql = (
        "SELECT pin.* FROM pin_fts JOIN pin ON pin.id = pin_fts.rowid"
        " WHERE pin_fts MATCH ? ORDER BY rank LIMIT 20"
    )
    with open_folio(path) as folio:
        assert folio.search_pins(expand(typed))
        report(
            f"words over pins, {typed!r}",
            seconds(lambda: folio.search_pins(expand(typed)), 5),
            seconds(lambda: plain(sql, query), 5),
        )
