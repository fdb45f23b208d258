"""How fast tables of pins become chip files and are linted: two processes against one.

Two processes can be no faster than twice one, and no faster than one where other work keeps the
second processor busy: the load of the machine while measuring is told beside the ratio.
"""

from __future__ import annotations

import csv
import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from pinfolio.loaders.drafting.draft_identity import Identity
from pinfolio.plugins.contributing.drafting import Drafted, Wanted, draft_files
from pinfolio.plugins.contributing.lint import lint_files
from pinfolio.schema import Chip, Package

HEADINGS = ["Pin", "Symbol", "Function", "I/O", "DC no signal (V)", "DC colour bars (V)"]


@pytest.fixture(scope="module")
def tables(
    made_chips: Callable[[], Iterator[Chip]], tmp_path_factory: pytest.TempPathFactory
) -> list[Path]:
    """The table of pins of each chip, as a spreadsheet writes it."""
    folder = tmp_path_factory.mktemp("tables")
    for chip in made_chips():
        with (folder / f"{chip.part}.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file)
            writer.writerow(HEADINGS)
            for pin in chip.pins:
                dc = [str(shown.dc).removesuffix(" V") for shown in pin.expectations]
                writer.writerow([pin.number, pin.symbol, pin.function, pin.role, *dc])
    return sorted(folder.iterdir())


@pytest.fixture(scope="module")
def wanted(made_chips: Callable[[], Iterator[Chip]]) -> Wanted:
    chip = next(made_chips())
    package = Package(family=chip.package.family, pins=chip.package.pins)
    return Wanted(Identity(maker=chip.maker, kind=chip.kind, package=package), {})


def draft_file(tables: list[Path], wanted: Wanted, processes: int) -> list[str]:
    """The chip files; that of a table that cannot be read would be missed here."""
    drafts = list(draft_files(tables, wanted, processes=processes))
    return [each.draft.text for each in drafts if isinstance(each, Drafted)]


def test_draft_with_two_processes(
    tables: list[Path],
    wanted: Wanted,
    seconds_in_turn: Callable[..., list[float]],
    report: Callable[..., None],
) -> None:
    two_s, one_s = seconds_in_turn(
        lambda: draft_file(tables, wanted, 2), lambda: draft_file(tables, wanted, 1)
    )
    rate = len(tables) / two_s
    report("draft with two processes", two_s, one_s, files_per_second=rate, **load())
    few = tables[:9]
    assert draft_file(few, wanted, 2) == draft_file(few, wanted, 1)
    assert len(draft_file(few, wanted, 1)) == len(few)


def test_lint_of_drafts_with_two_processes(
    tables: list[Path],
    wanted: Wanted,
    tmp_path: Path,
    seconds_in_turn: Callable[..., list[float]],
    report: Callable[..., None],
) -> None:
    for table, text in zip(tables, draft_file(tables, wanted, 2), strict=True):
        (tmp_path / f"{table.stem}.yaml").write_text(text, encoding="utf-8")
    files = sorted(tmp_path.iterdir())
    two_s, one_s = seconds_in_turn(
        lambda: lint_files(files, processes=2), lambda: lint_files(files, processes=1)
    )
    rate = len(files) / two_s
    report("lint of drafts with two processes", two_s, one_s, files_per_second=rate, **load())
    looked = lint_files(files[:9], processes=2).files
    assert [linted.part for linted in looked] == [table.stem for table in tables[:9]]


def load() -> dict[str, float]:
    """Processors there are, and processes that wanted one in the last minute."""
    return {"processors": os.cpu_count() or 1, "load": os.getloadavg()[0]}
