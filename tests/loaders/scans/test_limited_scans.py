"""A scanned page, recognised in a limited process by the models inside the package."""

from __future__ import annotations

import io
from pathlib import Path

import pypdfium2
import pytest
import rapidocr
from PIL import Image, ImageFilter
from pinfolio.loaders.drafting.data_sheet_pdf import read_data_sheet, read_scanned_pages
from pinfolio.loaders.scans.limited_scans import (
    RecognitionError,
    correct_pages,
    recognise_pages,
)
from pinfolio.loaders.scans.scanned_page import Box, ScannedCell, ScannedPage, ScannedWord
from reportlab.lib.pagesizes import A4
from reportlab.pdfgen.canvas import Canvas

PINS = ("VCC", "GND", "HOUT", "FBP", "SCP", "XTAL", "CVBS", "ABL", "SDA", "SCL", "EWD", "AGC")


def scan_page(dpi: int, skew_deg: float) -> bytes:
    """A page with the pins of an invented part, bare of rules, as a scanner leaves it."""
    paper = io.BytesIO()
    canvas = Canvas(paper, pagesize=A4)
    canvas.setFont("Helvetica", 9)
    rows = [("Pin", "Symbol", "DC typ (V)"), *zip(list_numbers(), PINS, list_volts(), strict=True)]
    for line, row in enumerate(rows):
        for left, text in zip((60, 110, 220), row, strict=True):
            canvas.drawString(left, 740 - 14 * line, text)
    canvas.save()
    document = pypdfium2.PdfDocument(paper.getvalue())
    page = document[0].render(scale=dpi / 72).to_pil().convert("L")
    turned = page.rotate(skew_deg, Image.Resampling.BICUBIC, fillcolor=255)
    packed = io.BytesIO()
    turned.filter(ImageFilter.GaussianBlur(0.5)).save(packed, "JPEG", quality=60)
    return packed.getvalue()


def list_numbers() -> list[str]:
    return [str(number) for number in range(1, len(PINS) + 1)]


def list_volts() -> list[str]:
    return [f"{0.4 + 0.6 * index:.1f}" for index in range(len(PINS))]


@pytest.fixture(scope="module")
def pages() -> dict[int, ScannedPage]:
    return recognise_pages(scan_page(150, 1.5))


def test_pins_and_voltages_of_a_turned_scan(pages: dict[int, ScannedPage]) -> None:
    table = read_scanned_pages(pages, "scan.jpg")
    read = {pin.number: (pin.texts.get("symbol"), str(pin.dc[""].quantity)) for pin in table.pins}
    assert read == {
        number: (symbol, f"{volts} V")
        for number, (symbol, volts) in enumerate(zip(PINS, list_volts(), strict=True), start=1)
    }
    assert pages[1].skew_deg == pytest.approx(-1.5, abs=0.1)


def test_each_value_has_its_place_on_the_page(pages: dict[int, ScannedPage]) -> None:
    cell = read_scanned_pages(pages, "scan.jpg").pins[8].scanned["symbol"]
    assert cell.text == "SDA"
    assert cell.box is not None
    assert (cell.box.x0, cell.box.top) == pytest.approx((110, 842 - 740 + 9 * 14 - 7), abs=12)


def test_a_compared_text_replaces_the_recognised_one(pages: dict[int, ScannedPage]) -> None:
    cell = read_scanned_pages(pages, "scan.jpg").pins[8].scanned["symbol"]
    assert cell.box is not None
    corrected = correct_pages(pages, {(1, cell.box): "SDA1"})
    pin = read_scanned_pages(corrected, "scan.jpg").pins[8]
    assert pin.texts["symbol"] == "SDA1"
    assert pin.scanned["symbol"].is_confirmed


def test_two_symbols_of_a_pin_that_differ_leave_a_blank() -> None:
    """Nothing says which of the two tables was recognised wrongly."""

    def draw_page(number: int, symbol: str) -> ScannedPage:
        rows = [("Pin", "Symbol", "Function"), ("1", symbol, "input"), ("2", "GND", "ground")]
        words = tuple(
            ScannedWord(text, 0.99, Box(left, top, left + 6 * len(text), top + 8), text)
            for top, row in zip((100.0, 114.0, 128.0), rows, strict=True)
            for left, text in zip((60.0, 120.0, 240.0), row, strict=True)
        )
        return ScannedPage(number, 595, 842, 0.0, words)

    table = read_scanned_pages({1: draw_page(1, "SIF"), 2: draw_page(2, "S1F")}, "scan.pdf")
    assert "symbol" not in table.pins[0].texts
    assert table.pins[0].unreadable["symbol"] == "SIF' and 'S1F"
    assert [doubtful.cell.text for doubtful in table.doubtful] == ["SIF", "S1F"]


def test_a_page_with_text_is_right_against_a_scan() -> None:
    paper = io.BytesIO()
    canvas = Canvas(paper, pagesize=A4)
    canvas.setFont("Helvetica", 9)
    for line, row in enumerate([("Pin", "Symbol", "Function"), ("1", "SIF", "sound input")]):
        for left, text in zip((60, 120, 240), row, strict=True):
            canvas.drawString(left, 740 - 14 * line, text)
    canvas.showPage()
    canvas.showPage()
    canvas.save()
    words = tuple(
        ScannedWord(text, 0.99, Box(left, top, left + 6 * len(text), top + 8), text)
        for top, row in ((100.0, ("Pin", "Symbol", "DC (V)")), (114.0, ("1", "S1F", "4.2")))
        for left, text in zip((60.0, 120.0, 240.0), row, strict=True)
    )
    page = ScannedPage(2, 595, 842, 0.0, words)
    (pin,) = read_data_sheet(paper.getvalue(), "mixed.pdf", scanned={2: page}).pins
    assert (pin.texts["symbol"], str(pin.dc[""].quantity)) == ("SIF", "4.2 V")
    assert set(pin.scanned) == {"dc@"}


def test_the_models_come_inside_the_package() -> None:
    models = Path(rapidocr.__file__).parent / "models"
    assert list(models.glob("*_det_*.onnx"))
    assert list(models.glob("*_rec_*.onnx"))


def test_a_damaged_picture_is_refused() -> None:
    with pytest.raises(RecognitionError, match="page 1 cannot be read: the picture is damaged"):
        recognise_pages(b"\xff\xd8\xff\xe0 no picture")


def test_the_least_confidence_of_the_words_is_that_of_the_cell() -> None:
    words = [ScannedWord("7.2", c, Box(10, 10, 20, 18)) for c in (0.999, 0.71)]
    assert str(ScannedCell(tuple(words), 2)) == "71 %, page 2 at 10, 10 pt"
