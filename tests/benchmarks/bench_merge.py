"""How fast notes come in: a merge of 100,000 against plainly reading and writing their JSON Lines.

Plain is ``json`` reading each line and writing it to another file. Ours also verifies signature
and digests, checks every note against the model and its one spelling, compares it with what the
folder holds, and waits until all is on the disk.
"""

from __future__ import annotations

import base64
import json
import os
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import pytest
from pinfolio.loaders.shop import bundle_writing as bundles
from pinfolio.loaders.shop.bundle_reading import read_bundle
from pinfolio.loaders.shop.merging import apply_plan, plan_merge
from pinfolio.loaders.shop.note_files import sort_notes
from pinfolio.loaders.shop.note_lines import format_lines
from pinfolio.loaders.shop.shop_folder import init_shop, open_shop
from pinfolio.schema.note import Note

NOTES = int(os.environ.get("PINFOLIO_BENCHMARK_NOTES", "100000"))

Report = Callable[..., None]
Seconds = Callable[..., float]


def make_note(number: int) -> Note:
    name = base64.b32encode(number.to_bytes(10, "big")).decode().lower()
    return Note.model_validate(
        {
            "id": name,
            "kind": "known-good reading",
            "shop": "bench-a",
            "author": "anna",
            "date": "2026-11-25",
            "chip": f"QZ{number % 1000}",
            "at": f"pin {number % 40 + 1}",
            "chassis": f"CH {number % 90}",
            "condition": "colour bars",
            "readings": {"dc": f"{number % 90 / 10} V", "vpp": "1 Vpp"},
        }
    )


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A bundle of as many notes as one may hold, and its notes as a plain file beside it."""
    folder = tmp_path_factory.mktemp("bundle")
    shop = init_shop(folder / "a", "bench-a")
    notes = sort_notes(map(make_note, range(NOTES)))
    bundles.write_bundle(shop, notes, folder / "a.bundle", NOTES)
    (folder / "notes.jsonl").write_bytes(b"".join(format_lines(notes)))
    return folder


def test_merge(shared: Path, tmp_path: Path, report: Report, seconds: Seconds) -> None:
    numbers = iter(range(100))

    def ours() -> None:
        shop = init_shop(tmp_path / f"b{next(numbers)}", "bench-b")
        apply_plan(plan_merge(shop, [read_bundle(shared / "a.bundle")]), accept_new=True)

    def plain() -> None:
        _read_and_write(shared / "notes.jsonl", tmp_path / "plain.jsonl")

    ours_s, plain_s = seconds(ours), seconds(plain)
    tracemalloc.start()
    ours()
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    report(f"merge {NOTES:,} notes", ours_s, plain_s, peak_megabytes=peak / 1e6)


def test_merge_again(shared: Path, tmp_path: Path, report: Report, seconds: Seconds) -> None:
    """A second merge of the same notes compares them with all there are, and changes nothing."""
    shop = init_shop(tmp_path / "b", "bench-b")
    apply_plan(plan_merge(shop, [read_bundle(shared / "a.bundle")]), accept_new=True)

    def ours() -> None:
        apply_plan(plan_merge(open_shop(shop.folder), [read_bundle(shared / "a.bundle")]))

    def plain() -> None:
        _read_and_write(shared / "notes.jsonl", tmp_path / "plain.jsonl")

    report(f"merge {NOTES:,} notes again", seconds(ours), seconds(plain))


def _read_and_write(source: Path, out: Path) -> None:
    with source.open(encoding="utf-8") as lines, out.open("w", encoding="utf-8") as file:
        for line in lines:
            document = json.loads(line)
            file.write(json.dumps(document, ensure_ascii=False, separators=(",", ":")) + "\n")
