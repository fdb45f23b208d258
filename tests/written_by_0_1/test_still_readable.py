"""Files that pinfolio 0.1 wrote are read by every later version and answer as they did then.

The files beside this one were written by version 0.1 (README.md lists each with its command) and
are never written again. ``expected.json`` holds facts that version 0.1 answered from them: parts,
pins, values, digests, verdicts. Prose, chances of suspects and additions of later versions are
left out of the comparison. Only commands and page addresses are used, no inner function.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import shutil
import sys
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from html import unescape
from pathlib import Path
from pkgutil import resolve_name
from typing import Any, Final

import pyarrow.parquet
import pytest
import yaml
from datasette.app import Datasette
from pinfolio.plugins.web.serving.server import open_datasette

WRITTEN: Final = Path(__file__).parent
PROJECT: Final = tomllib.loads((WRITTEN.parents[1] / "pyproject.toml").read_text("utf-8"))
EXPECTED: Final[dict[str, Any]] = json.loads((WRITTEN / "expected.json").read_text("utf-8"))
CHIP_FILES: Final = sorted((WRITTEN / "chip_files").glob("*.yaml"))
ADDRESSES: Final = [
    line
    for line in (WRITTEN / "addresses.txt").read_text("utf-8").splitlines()
    if not line.startswith("#")
]

WHOLE_KEYS: Final = """
    part pin symbol role function maker package kind condition at verdict quantity unit typ min max
    typ_v min_v max_v dc vpp_v frequency_hz mean_v value id digest shop author
    date chip withdrawn follows sets confidence readings_after cure sha256 in_conflict symptom
    symptoms note state fingerprint public_key counts same_pins fitted other query markings systems
    resistance_ohm capacitance_f voltage name vpp frequency resistance seen
"""
INSIDE_KEYS: Final = """
    pins chips conditions supplies expectations waveform results expected reading readings
    instruments meter probe scope notes alike attachments revisions
"""
KEPT_WHOLE: Final = set(WHOLE_KEYS.split())
KEPT_INSIDE: Final = set(INSIDE_KEYS.split())
LIMITS: Final = {"min", "max", "min_v", "max_v"}
SIGNIFICANT_DIGITS: Final = 4


@dataclass(frozen=True)
class Answer:
    """Exit status of a command and its standard output."""

    status: int
    out: str

    @property
    def document(self) -> Any:
        """Return the JSON that it printed."""
        return json.loads(self.out)

    @property
    def facts(self) -> Any:
        """Return the facts of the JSON that it printed."""
        return read_facts(self.document)


Pinfolio = Callable[..., Answer]


def read_facts(document: Any) -> Any:
    """Return a JSON document without prose, chances, pictures and keys of later versions."""
    if isinstance(document, list):
        return [read_facts(entry) for entry in document]
    if not isinstance(document, dict):
        return document
    known = drop_assumed_limits(document)
    whole = {key: round_figures(known[key]) for key in known.keys() & KEPT_WHOLE}
    inside = {key: read_facts(known[key]) for key in known.keys() & KEPT_INSIDE}
    return whole | inside


def keep_known(facts: Any, expected: Any) -> Any:
    """Return the facts without the keys that a later version added."""
    if isinstance(facts, list) and isinstance(expected, list) and len(facts) == len(expected):
        return [keep_known(*pair) for pair in zip(facts, expected, strict=True)]
    if not (isinstance(facts, dict) and isinstance(expected, dict)):
        return facts
    return {key: keep_known(facts[key], expected[key]) for key in facts.keys() & expected.keys()}


def drop_assumed_limits(values: dict[str, Any]) -> dict[str, Any]:
    """Return the values less limits that no source states: the program assumes them."""
    if values.get("tolerance") != "assumed":
        return values
    return {key: value for key, value in values.items() if key not in LIMITS}


def round_figures(value: Any) -> Any:
    """Return a value with its numbers rounded, so that another order of adding is no change."""
    if isinstance(value, float):
        return float(f"{value:.{SIGNIFICANT_DIGITS}g}")
    if isinstance(value, dict):
        return {key: round_figures(inner) for key, inner in drop_assumed_limits(value).items()}
    return [round_figures(inner) for inner in value] if isinstance(value, list) else value


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of all that was written, since commands lock and change a shop's folder."""
    return shutil.copytree(WRITTEN, tmp_path_factory.mktemp("copy") / "written")


@pytest.fixture(scope="module")
def pinfolio(tmp_path_factory: pytest.TempPathFactory) -> Pinfolio:
    """The command that pyproject.toml names, given these words and this on standard input."""
    home = tmp_path_factory.mktemp("home")
    main = resolve_name(PROJECT["project"]["scripts"]["pinfolio"])

    def run(*words: object, typed: str = "", folio: Path | None = None) -> Answer:
        out, status = io.StringIO(), 0
        with pytest.MonkeyPatch.context() as patch:
            for name in ("CONFIG", "DATA", "CACHE"):
                patch.setenv(f"XDG_{name}_HOME", str(home / name))
            patch.delenv("PINFOLIO_SHOP", raising=False)
            patch.setenv("PINFOLIO_FOLIO", str(folio or ""))
            patch.setattr(sys, "argv", ["pinfolio", *map(str, words)])
            patch.setattr(sys, "stdin", io.StringIO(typed))
            with contextlib.redirect_stdout(out):
                try:
                    main()
                except SystemExit as ended:
                    status = int(ended.code or 0)
        return Answer(status, out.getvalue())

    return run


@pytest.fixture(scope="module")
def folio(pinfolio: Pinfolio, written: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folio that this version builds from all chip files and both shops' folders."""
    out = tmp_path_factory.mktemp("folio") / "rebuilt.db"
    sources = [
        *sorted((written / "chip_files").glob("*.*")),
        *sorted((written / "shops").iterdir()),
    ]
    assert pinfolio("build", *sources, "-o", out).status == 0
    return out


@pytest.fixture(scope="module")
def site(folio: Path) -> Datasette:
    return open_datasette(folio)


class TestChipFiles:
    @pytest.mark.parametrize("path", CHIP_FILES, ids=lambda path: path.stem)
    def test_no_rule_finds_a_fault_in_it(self, pinfolio: Pinfolio, path: Path) -> None:
        answer = pinfolio("lint", path, "--json")
        assert answer.status == 0
        (linted,) = answer.document["files"]
        assert [found for found in linted["findings"] if found["kind"] == "fault"] == []

    @pytest.mark.parametrize("part", ["MDQ3724", "QZ5904", "QZ5906", "TQZ5710", "TQZ5752"])
    def test_every_pin_is_as_it_was(self, pinfolio: Pinfolio, folio: Path, part: str) -> None:
        assert pinfolio("chip", part, "--json", folio=folio).facts == EXPECTED["chips"][part]

    def test_a_line_of_json_is_a_chip(self, pinfolio: Pinfolio, folio: Path) -> None:
        answer = pinfolio("chip", "KYE1916", "--json", folio=folio)
        assert answer.facts == EXPECTED["chips"]["KYE1916"]

    def test_a_file_that_new_began_lists_its_blanks(self, pinfolio: Pinfolio) -> None:
        answer = pinfolio("lint", WRITTEN / "chip_files/unfinished/qz5710.yaml", "--json")
        assert answer.status == 1
        (linted,) = answer.document["files"]
        blanks = [[found["rule"], found["line"]] for found in linted["findings"]]
        assert blanks == EXPECTED["blanks"]

    def test_a_table_of_pins_is_drafted_with_the_same_pins(
        self, pinfolio: Pinfolio, written: Path
    ) -> None:
        table = written / "chip_files/unfinished/pin-table.csv"
        answer = pinfolio("draft", table, "--part", "QZ5904", "--package", "DIP-4")
        assert answer.status == 0
        drafted = yaml.safe_load(answer.out)
        before = yaml.safe_load((written / "chip_files/qz5904.yaml").read_text("utf-8"))
        assert drafted["pins"] == before["pins"]


class TestShops:
    @pytest.mark.parametrize("name", ["one", "receiving"])
    def test_its_notes_are_the_same_revisions(
        self, pinfolio: Pinfolio, written: Path, name: str
    ) -> None:
        answer = pinfolio("note", "list", "--json", "--shop", written / "shops" / name)
        assert answer.status == 0
        assert answer.facts == EXPECTED["notes"][name]

    def test_a_note_has_all_of_its_revisions(self, pinfolio: Pinfolio, written: Path) -> None:
        shop = ("--shop", written / "shops/receiving")
        for note, facts in EXPECTED["revisions"].items():
            assert pinfolio("note", "show", note, "--json", *shop).facts == facts

    def test_its_key_is_its_own(self, pinfolio: Pinfolio, written: Path) -> None:
        answer = pinfolio("shop", "key", "--json", "--shop", written / "shops/one")
        assert answer.facts == EXPECTED["key"]

    def test_it_knows_trusts_and_mutes_the_same_shops(
        self, pinfolio: Pinfolio, written: Path
    ) -> None:
        answer = pinfolio("shops", "--json", "--shop", written / "shops/receiving")
        assert answer.facts == EXPECTED["shops"]

    def test_its_odds_are_taken(self, pinfolio: Pinfolio, written: Path, folio: Path) -> None:
        with pytest.MonkeyPatch.context() as patch:
            patch.chdir(written / "shops/one")
            answer = pinfolio(
                "faultfind", "TQZ5710", "--reading", "5 vpp=0.01Vpp", "--json", folio=folio
            )
        assert answer.status == 0
        assert answer.document["suspects"]

    def test_its_notes_are_shared_and_taken_in_as_the_same(
        self, pinfolio: Pinfolio, written: Path, tmp_path: Path
    ) -> None:
        shop, bundle = written / "shops/one", tmp_path / "now.bundle"
        assert pinfolio("share", "-o", bundle, "--yes", "--shop", shop).status == 0
        receiving = shutil.copytree(written / "shops/receiving", tmp_path / "receiving")
        answer = pinfolio("merge", bundle, "--json", "--yes", "--shop", receiving)
        assert answer.facts["counts"] == EXPECTED["shared again"]


class TestBundles:
    BUNDLES: Final = (WRITTEN / "bundles/one.bundle", WRITTEN / "bundles/two.bundle")

    def test_a_new_shop_takes_them_in(self, pinfolio: Pinfolio, tmp_path: Path) -> None:
        shop = tmp_path / "new"
        assert pinfolio("shop", "init", shop, "--handle", "test-bench-new").status == 0
        merged = pinfolio("merge", *self.BUNDLES, "--accept-new", "--yes", "--json", "--shop", shop)
        assert merged.status == 0
        assert merged.facts["counts"] == EXPECTED["bundles"]["counts"]
        listed = pinfolio("note", "list", "--json", "--shop", shop)
        assert listed.facts["notes"] == EXPECTED["bundles"]["notes"]
        kept = [path for path in shop.rglob("attachments/*") if path.is_file()]
        assert sorted(path.stem for path in kept) == EXPECTED["bundles"]["attachments"]
        assert all(hashlib.sha256(path.read_bytes()).hexdigest() == path.stem for path in kept)

    def test_a_shop_that_took_them_in_before_finds_nothing_new(
        self, pinfolio: Pinfolio, written: Path
    ) -> None:
        receiving = written / "shops/receiving"
        answer = pinfolio("merge", *self.BUNDLES, "--json", "--yes", "--shop", receiving)
        assert answer.facts["counts"] == EXPECTED["merged again"]


class TestOnTheBench:
    def test_a_job_goes_on_where_it_was_left(
        self, pinfolio: Pinfolio, folio: Path, written: Path
    ) -> None:
        job = written / "green.job"
        words = ("faultfind", "MDQ3724", "--interactive", "--job", job)
        answer = pinfolio(*words, typed="\n", folio=folio)
        assert answer.status == EXPECTED["job"]["status"]
        for shown in EXPECTED["job"]["shows"]:
            assert shown in answer.out
        assert job.read_bytes() == (WRITTEN / "green.job").read_bytes()

    def test_readings_in_a_file_get_their_verdicts(self, pinfolio: Pinfolio, folio: Path) -> None:
        readings = WRITTEN / "readings/bench.txt"
        answer = pinfolio("check", "TQZ5752", "--readings", readings, "--json", folio=folio)
        assert (answer.status, answer.facts) == (1, EXPECTED["readings"])

    def test_a_capture_is_judged(self, pinfolio: Pinfolio, folio: Path) -> None:
        capture = WRITTEN / "readings/capture.csv"
        answer = pinfolio("check", "TQZ5752", "22", "--capture", capture, "--json", folio=folio)
        facts = {found["quantity"]: found["verdict"] for found in answer.document["results"]}
        assert (answer.status, facts) == (1, EXPECTED["capture"])

    def test_own_instruments_stay_beside_the_ordinary_ones(self, pinfolio: Pinfolio) -> None:
        answer = pinfolio("instruments", "--file", WRITTEN / "instruments.toml", "--json")
        known = answer.document
        own = {sort: known[sort][0] for sort in ("meters", "probes")}
        assert (answer.status, own) == (0, EXPECTED["instruments"])

    @pytest.mark.parametrize("name", ["pulse", "pulse-in-pixels"])
    def test_points_of_a_figure_make_the_same_waveform(self, pinfolio: Pinfolio, name: str) -> None:
        answer = pinfolio("figure", WRITTEN / f"figures/{name}.txt", "--json")
        assert answer.status == 0
        assert answer.document["waveform"] == EXPECTED["figures"][name]


class TestFolios:
    def test_a_published_folio_is_fetched_or_refused_for_its_version(
        self, pinfolio: Pinfolio, written: Path, folio: Path, tmp_path: Path
    ) -> None:
        """A folio is built again from its sources, so another schema version may refuse it."""
        before = json.loads((written / "published/manifest.json").read_text("utf-8"))
        assert pinfolio("publish", folio, "--no-pages", "-o", tmp_path / "now").status == 0
        now = json.loads((tmp_path / "now/manifest.json").read_text("utf-8"))
        fetched, receiving = tmp_path / "fetched.db", written / "shops/receiving"
        words = ("--from-shop", "test-bench-one", "--shop", receiving, "-o", fetched)
        answer = pinfolio("fetch-folio", written / "published", *words)
        if now["schema_version"] == before["schema_version"]:
            assert answer.status == 0
            assert hashlib.sha256(fetched.read_bytes()).hexdigest() == before["folio"]["sha256"]
            chip = pinfolio("chip", "TQZ5710", "--json", folio=fetched)
            assert chip.facts == EXPECTED["chips"]["TQZ5710"]
        else:
            assert answer.status != 0
            assert not fetched.exists()

    def test_pooled_readings_have_the_same_columns_and_rows(
        self, pinfolio: Pinfolio, folio: Path, tmp_path: Path
    ) -> None:
        before = pyarrow.parquet.read_table(WRITTEN / "readings.parquet")
        out = tmp_path / "readings.parquet"
        assert pinfolio("pool-readings", "-o", out, folio=folio).status == 0
        now = pyarrow.parquet.read_table(out).select(before.column_names)
        assert before.num_rows == EXPECTED["pooled rows"]
        assert now.to_pylist() == before.to_pylist()


class TestAddresses:
    def test_each_is_a_page_or_a_document(self) -> None:
        assert sorted(ADDRESSES) == sorted([*EXPECTED["pages"], *EXPECTED["documents"]])

    @pytest.mark.parametrize("address", [at for at in ADDRESSES if ".json" not in at])
    async def test_a_page_shows_the_same_things(self, site: Datasette, address: str) -> None:
        answer = await site.client.get(address, follow_redirects=True)
        assert answer.status_code == 200
        if address.startswith("/notes/attachment/"):
            assert hashlib.sha256(answer.content).hexdigest() in address
        else:
            text = unescape(answer.text).casefold()
            missing = [
                shown for shown in EXPECTED["pages"][address] if shown.casefold() not in text
            ]
            assert missing == []

    @pytest.mark.parametrize("address", [at for at in ADDRESSES if ".json" in at])
    async def test_a_document_holds_the_same_facts(self, site: Datasette, address: str) -> None:
        answer = await site.client.get(address, follow_redirects=True)
        assert answer.status_code == 200
        document = answer.json()
        # The chances are those of a model that may be replaced; that there is an answer stays.
        weighed = sorted(key for key in ("suspects", "what_if") if document.get(key))
        expected = EXPECTED["documents"][address]
        assert keep_known([weighed, read_facts(document)], expected) == expected
