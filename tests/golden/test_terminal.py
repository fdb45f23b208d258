"""The tables and JSON documents of the commands, whole."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Final

import pytest
from click.testing import CliRunner
from pinfolio.data_demo import chip_files, note_files
from pinfolio.loaders.folio.build import build_folio
from pinfolio.plugins.terminal.cli import COMMANDS, main

from .golden_file import FOLDER, compare, format_document

WRITTEN: Final = Path(__file__).parents[1] / "written_by_0_1"

TABLES: Final = {
    "bench/check-pin": "check TQZ5752 13 --dc 3.1V --vpp 0.4Vpp",
    "bench/check-outside": "check TQZ5752 17 --freq 15.1kHz --ohms 12k",
    "bench/check-readings": "check TQZ5752 --readings readings/bench.txt",
    "bench/check-observed": "check TQZ5752 13 --dc 3.3V --condition {no signal} --expect observed",
    "bench/check-capture": "check TQZ5752 22 --capture readings/capture.csv",
    "bench/chip": "chip TQZ5752",
    "bench/chip-condition": "chip TQZ5752 --condition {no signal}",
    "bench/chip-small": "chip MDQ3724",
    "bench/compare": "compare TQZ5752 OGX7342",
    "bench/compare-same": "compare KYE2620 KYE2620",
    "bench/find-damaged": "find Q?57",
    "bench/find-exact": "find TQZ5752",
    "bench/find-fragment": "find 57",
    "bench/find-marking-and-words": "find TQZ5752 sync input",
    "bench/find-nothing": "find XQJ9999",
    "bench/find-package": "find jungle --package SDIP-52",
    "bench/find-words": "find burst key",
    "bench/instruments": "instruments",
    "bench/pin": "pin TQZ5752 13",
    "bench/pin-instruments": "pin TQZ5752 46 --probe {x1 probe} --meter {digital meter}",
    "bench/pin-tester": "pin MDQ3724 11 --tester {component tester}",
    "bench/pin-noted": "pin TQZ5752 17",
    "bench/pin-hazard": "pin OGX1524 1",
    "chip_files/draft": "draft chip_files/unfinished/pin-table.csv --part QZ5710 --package SDIP-52",
    "chip_files/draft-explained": "draft chip_files/unfinished/pin-table.csv --explain",
    "chip_files/figure": "figure figures/pulse.txt",
    "chip_files/figure-pixels": "figure figures/pulse-in-pixels.txt",
    "chip_files/lint": "lint chip_files",
    "chip_files/new": "new QZ5710 --package SDIP-16 --kind jungle",
    "chip_files/rules": "rules",
    "chip_files/schema": "schema",
    "folio/build": "build chip_files/tqz5752.yaml shops/one -o built.db",
    "folio/verify": "verify published",
    "folio/verify-shop": "verify shops/one",
    "folio/verify-damaged": "verify chip_files/tqz5752.yaml",
    "shop/merge": "merge bundles/two.bundle --accept-new --yes --shop shops/one",
    "shop/note-search": "note search picture rolls",
    "shop/note-list": "note list --shop shops/one",
    "shop/note-show": "note show bxot2k --shop shops/one",
    "shop/shop-key": "shop key --shop shops/one",
    "shop/shop-device": "shop device --shop shops/one",
    "shop/shops": "shops --shop shops/receiving",
}
ANSWERS_IN_JSON: Final = {
    *("find", "chip", "pin", "check", "compare", "instruments", "figure", "lint", "rules"),
    *("note", "shop", "shops", "merge", "verify"),
}
WITH_JSON: Final = {
    name: f"{words} --json" for name, words in TABLES.items() if words.split()[0] in ANSWERS_IN_JSON
}
NOT_HERE: Final = {
    "faultfind": "its model is being replaced",
    "substitute": "its model is being replaced",
    "capture": "asks an instrument",
    "format": "prints no table",
    "share": "prints no table",
    "pool-readings": "prints no table",
    "publish": "prints no table",
    "fetch-folio": "prints no table",
    "preview": "listens",
    "serve": "listens",
    "demo": "listens",
}

Run = Callable[[str], str]


@pytest.fixture(scope="module")
def folio(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the demonstration folio."""
    path = tmp_path_factory.mktemp("folio") / "demo.db"
    build_folio([*chip_files(), *note_files()], path)
    return path


@pytest.fixture
def run(folio: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Run ``pinfolio`` among the files that version 0.1 wrote, and return all that it printed."""
    monkeypatch.setenv("PINFOLIO_FOLIO", str(folio))
    for name in ("CONFIG", "DATA", "CACHE"):
        monkeypatch.setenv(f"XDG_{name}_HOME", str(tmp_path / "home"))
    monkeypatch.chdir(shutil.copytree(WRITTEN, tmp_path / "written"))

    def printed(words: str) -> str:
        pieces = words.replace("{", "}").split("}")
        arguments = [
            word
            for place, piece in enumerate(pieces)
            for word in ([piece] if place % 2 else piece.split())
        ]
        result = CliRunner().invoke(main, arguments)
        assert isinstance(result.exception, SystemExit | None), result.exception
        text = result.stdout + "".join(f"stderr: {line}\n" for line in result.stderr.splitlines())
        return text.replace(str(tmp_path), "TMP") + f"exit status: {result.exit_code}\n"

    return printed


@pytest.mark.parametrize("name", TABLES)
def test_a_command_prints_its_table(name: str, run: Run, renew: bool) -> None:
    compare(f"terminal/{name}.txt", run(TABLES[name]), renew)


@pytest.mark.parametrize("name", WITH_JSON)
def test_a_command_prints_its_document(name: str, run: Run, renew: bool) -> None:
    printed = run(WITH_JSON[name])
    begin = min(place for sign in "{[" if (place := printed.find(sign)) >= 0)
    document, _ = json.JSONDecoder().raw_decode(printed[begin:])
    compare(f"terminal/{name}.json", format_document(document), renew)


def test_every_command_that_answers_is_here() -> None:
    run_here = {words.split()[0] for words in TABLES.values()}
    assert run_here | set(NOT_HERE) == set(COMMANDS)
    assert run_here & set(NOT_HERE) == set()


def test_every_file_is_of_a_test() -> None:
    files = {str(path.relative_to(FOLDER)) for path in (FOLDER / "terminal").rglob("*.*")}
    named = {f"terminal/{name}.txt" for name in TABLES} | {
        f"terminal/{name}.json" for name in WITH_JSON
    }
    assert files == named
