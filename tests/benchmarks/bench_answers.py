"""Waits of a technician: an answer of `find` and a pin card, against plain sqlite3 reads."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.folio.build import build_folio
from pinfolio.loaders.folio.folio import Folio, open_folio
from pinfolio.plugins.cards.pictures import draw_scope_picture
from pinfolio.plugins.cards.pin_card import build_pin_card
from pinfolio.plugins.search.find import find
from pinfolio.schema.chips.lookup import find_pin

Report = Callable[..., None]
Seconds = Callable[..., float]


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("folio") / "demo.db"
    build_folio(chip_files(), path)
    return path


@pytest.fixture
def folio(path: Path) -> Iterator[Folio]:
    with open_folio(path) as opened:
        yield opened


@pytest.mark.parametrize("text", ["5752", "burst key", "5752 sync input"])
def test_find(path: Path, folio: Folio, text: str, report: Report, seconds: Seconds) -> None:
    connection = sqlite3.connect(path)

    def plain() -> None:
        sql = "SELECT * FROM chip WHERE part IN (SELECT chip FROM marking WHERE instr(key, ?))"
        connection.execute(sql, (text.split()[0],)).fetchall()
        sql = "SELECT pin.* FROM pin_fts JOIN pin ON pin.id = pin_fts.rowid WHERE pin_fts MATCH ?"
        connection.execute(f"{sql} ORDER BY rank LIMIT 20", (f'"{text.split()[-1]}"',)).fetchall()

    ours = seconds(lambda: find(folio, text).document(), 50)
    report(f"find {text!r}", ours, seconds(plain, 50))


@pytest.mark.parametrize("number", ["7", "13", "22"])
def test_pin_card(path: Path, folio: Folio, number: str, report: Report, seconds: Seconds) -> None:
    """The whole way: the chip read back as models, the card with traces, and its picture."""
    connection = sqlite3.connect(path)

    def plain() -> None:
        connection.execute("SELECT * FROM chip WHERE part_key = 'TQZ5752'").fetchall()
        sql = (
            "SELECT * FROM pin JOIN expectation ON expectation.pin = pin.id"
            " WHERE pin.chip = 'TQZ5752' AND number = ?"
        )
        connection.execute(sql, (number,)).fetchall()
        sql = "SELECT * FROM part JOIN part_end USING (chip, ref) WHERE chip = 'TQZ5752'"
        connection.execute(sql).fetchall()

    def ours() -> None:
        chip = folio.chip("TQZ5752")
        card = build_pin_card(chip, find_pin(chip, number))
        card.document()
        draw_scope_picture(card)

    report(f"pin card {number}", seconds(ours, 10), seconds(plain, 50))
