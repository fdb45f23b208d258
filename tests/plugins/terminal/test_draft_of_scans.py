"""``pinfolio draft`` of scans: marks, blanks, and the review of doubtful values."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from PIL import Image
from pinfolio.loaders.scans import limited_scans
from pinfolio.loaders.scans.scanned_page import Box, ScannedPage, ScannedWord
from pinfolio.plugins.terminal import scan_prompts
from pinfolio.plugins.terminal.cli import main

ROWS = (
    ("Pin", "Symbol", "Function", "DC typ (V)"),
    ("1", "VCC", "supply", "8.0"),
    ("2", "SIF", "sound input", "3.1"),
    ("3", "OUT", "<b>video</b> output", "2.9"),
    ("4", "GND", "ground", "0"),
)
SECOND_READINGS = {"SIF": "S1F", "3.1": "31"}


def draw_page() -> ScannedPage:
    """A page as it was recognised, with two doubtful values at pin 2."""
    packed = io.BytesIO()
    Image.new("L", (595, 842), 255).save(packed, "JPEG")
    words = tuple(
        ScannedWord(text, 0.98, Box(left, top, left + 5 * len(text), top + 8), other)
        for top, row in zip(range(100, 200, 14), ROWS, strict=False)
        for left, text in zip((60, 120, 200, 400), row, strict=True)
        for other in [SECOND_READINGS.get(text, text)]
    )
    return ScannedPage(1, 595, 842, 0.4, words, picture=packed.getvalue())


@pytest.fixture
def scan(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A picture file, and a recogniser that always sees the same page."""
    monkeypatch.setattr(limited_scans, "recognise_pages", lambda *_: {1: draw_page()})
    path = tmp_path / "zzx1234.png"
    Image.new("L", (595, 842), 255).save(path)
    return path


def draft(*arguments: str | Path, keys: str = "") -> Result:
    return CliRunner().invoke(main, ["draft", *map(str, arguments)], input=keys)


def test_each_value_carries_confidence_and_place(scan: Path) -> None:
    result = draft(scan)
    assert result.exit_code == 0, result.stderr
    assert "    symbol: VCC  # review: scanned, 98 %, page 1 at 120, 114 pt" in result.stdout
    assert "        dc: 8.0 V  # review: scanned, 98 %, page 1 at 400, 114 pt" in result.stdout


def test_a_doubtful_value_is_a_blank_with_its_text_beside_it(scan: Path) -> None:
    result = draft(scan)
    blank = "symbol:  #? its short name; the source has 'SIF', scanned, 98 %, page 1 at 120, 128 pt"
    assert blank in result.stdout
    assert "not read: page 1, row 2: 'SIF': scanned, to be compared: read as 'SIF'" in result.stderr


def test_one_key_accepts_or_corrects_each(scan: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(scan_prompts, "_can_ask", lambda: True)
    result = draft(scan, "--review", keys="2\r")
    assert result.exit_code == 0, result.stderr
    assert "'SIF', or 'S1F'?" in result.stderr
    assert "symbol: S1F  # review: compared with the scan, page 1 at 120, 128 pt" in result.stdout
    assert "dc: 3.1 V  # review: compared with the scan, page 1 at 400, 128 pt" in result.stdout
    assert "not read" not in result.stderr


def test_what_is_skipped_stays_blank(scan: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(scan_prompts, "_can_ask", lambda: True)
    result = draft(scan, "--review", keys="sq")
    assert "the source has 'SIF'" in result.stdout


def test_the_page_of_the_review_shows_each_place_and_runs_nothing(
    scan: Path, tmp_path: Path
) -> None:
    result = draft(scan, "--review", "-o", tmp_path / "chips")
    assert result.exit_code == 0, result.stderr
    page = (tmp_path / "chips" / "zzx1234-scan.html").read_text(encoding="utf-8")
    assert "Doubtful: 2 values" in page
    assert "“SIF” or “S1F”" in page
    assert page.count("data:image/jpeg;base64,") == 16
    assert "&lt;b&gt;video&lt;/b&gt;" in page
    assert "<b>video" not in page
    assert "<script" not in page


def test_without_the_extra_the_remedy_is_named(scan: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limited_scans, "find_spec", lambda name: None)
    result = draft(scan)
    assert result.exit_code == 2
    assert "pip install 'pinfolio[ocr]'" in result.stderr


def test_a_scan_is_not_put_into_a_chip_file_before_it_is_compared(
    scan: Path, tmp_path: Path
) -> None:
    result = draft(scan, "--into", tmp_path / "chip.yaml")
    assert result.exit_code == 2
    assert "draft it with -o and compare it first" in result.stderr
