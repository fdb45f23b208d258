"""The draft of the same small chip from every dialect and layout, word for word.

A change of the draft shows as a difference to the files in ``golden/``.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

import pytest
from pinfolio.loaders.drafting.chip_draft import Origin, draft_chip
from pinfolio.loaders.drafting.data_sheet_pdf import read_data_sheet
from pinfolio.loaders.drafting.draft_identity import Identity
from pinfolio.loaders.drafting.pin_table import PinTable
from pinfolio.loaders.drafting.table_reader import read_pin_table
from pinfolio.schema import Package
from reportlab.lib.pagesizes import A4
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import PageBreak, SimpleDocTemplate, Table

GOLDEN = Path(__file__).parent / "golden"
IDENTITY = Identity(
    "QZ9999",
    "Tannhof Halbleiter",
    "jungle",
    Package.model_validate({"family": "DIP", "pins": 8}),
)
HEAD = ["Pin", "Symbol", "Function", "DC (V)"]
ROWS = [
    ["1", "SCL", "bus clock input", "4.9"],
    ["2", "CVBS", "composite video input", "3.4"],
    ["3", "AFC", "line phase detector filter", "3.6"],
    ["4", "GND", "ground", "0"],
    ["5", "H OUT", "line drive output", "1.6"],
    ["6", "BGP", "burst gate pulse input", "0.4"],
    ["7", "XTAL", "subcarrier crystal", "3.2"],
    ["8", "VCC", "8 V supply", "8"],
]
GRID = [("GRID", (0, 0), (-1, -1), 0.5, (0, 0, 0))]


def write_table(delimiter: str, encoding: str, comma: bool = False) -> bytes:
    rows = [HEAD, *ROWS]
    lines = [
        [c.replace(".", ",") if comma and at == 3 else c for at, c in enumerate(r)] for r in rows
    ]
    return "".join(delimiter.join(row) + "\r\n" for row in lines).encode(encoding)


def write_layout(*parts: object) -> bytes:
    paper = io.BytesIO()
    SimpleDocTemplate(paper, pagesize=A4).build(list(parts))
    return paper.getvalue()


def draw_ruled() -> bytes:
    return write_layout(Table([HEAD, *ROWS], style=GRID))


def split() -> bytes:
    first, second = [HEAD, *ROWS[:4]], [HEAD, *ROWS[4:]]
    return write_layout(Table(first, style=GRID), PageBreak(), Table(second, style=GRID))


def write_package_order() -> bytes:
    """Pins 1 to 4 on the left, 8 to 5 on the right, as on the package."""
    facing = [[*left, *right] for left, right in zip(ROWS[:4], reversed(ROWS[4:]), strict=True)]
    return write_layout(Table([[*HEAD, *HEAD], *facing], style=GRID))


def draw_unruled() -> bytes:
    paper = io.BytesIO()
    canvas = Canvas(paper, pagesize=A4)
    _draw_words(canvas)
    canvas.save()
    return paper.getvalue()


def turn_table() -> bytes:
    paper = io.BytesIO()
    canvas = Canvas(paper, pagesize=A4)
    canvas.translate(50, 800)
    canvas.rotate(-90)
    _draw_words(canvas, top=500)
    canvas.save()
    return paper.getvalue()


def _draw_words(canvas: Canvas, top: float = 750) -> None:
    canvas.setFont("Helvetica", 9)
    for number, row in enumerate([HEAD, *ROWS]):
        for x, text in zip((60, 100, 170, 330), row, strict=True):
            canvas.drawString(x, top - 14 * number, text)


def read_table(data: bytes) -> PinTable:
    return read_pin_table(data, "sheet")


def read_pdf(data: bytes) -> PinTable:
    return read_data_sheet(data, "sheet")


@pytest.mark.parametrize(
    ("name", "read", "data"),
    [
        ("table", read_table, lambda: write_table(",", "utf-8")),
        ("table", read_table, lambda: write_table(";", "utf-8-sig", comma=True)),
        ("table", read_table, lambda: write_table("\t", "utf-16")),
        ("table", read_table, lambda: write_table(";", "cp1252", comma=True)),
        ("ruled", read_pdf, draw_ruled),
        ("unruled", read_pdf, draw_unruled),
        ("package-order", read_pdf, write_package_order),
        ("split", read_pdf, split),
        ("turned", read_pdf, turn_table),
    ],
    ids=["comma", "semicolon", "tab", "cp1252", "ruled", "unruled", "package", "split", "turned"],
)
def test_the_draft_is_word_for_word_the_golden_file(
    name: str, read: Callable[[bytes], PinTable], data: Callable[[], bytes]
) -> None:
    draft = draft_chip(read(data()), IDENTITY, Origin("sheet", "data sheet", "sheet"))
    assert draft.text == (GOLDEN / f"{name}.yaml").read_text(encoding="utf-8")
