"""Data sheets as PDFs, made here in the layouts that sheets have, and the pins read from them."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence

import pytest
from pinfolio.loaders.drafting.data_sheet_pdf import MOST_PAGES, read_data_sheet
from pinfolio.loaders.drafting.pin_table import PinTable
from pinfolio.loaders.drafting.text_table import DraftError
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle, getSampleStyleSheet
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import PageBreak, Paragraph, SimpleDocTemplate, Table

pdfmetrics.registerFont(TTFont("Vera", "Vera.ttf"))  # comes with reportlab; has ligatures

Rows = Sequence[Sequence[str]]
Draw = Callable[[Canvas], None]
GRID = ("GRID", (0, 0), (-1, -1), 0.5, (0, 0, 0))
PINS = [["1", "SCL", "bus clock input"], ["2", "VCC", "8 V supply"], ["3", "GND", "ground"]]
HEADS = ["Pin", "Symbol", "Function"]


def draw_pdf(draw: Draw, **how: object) -> bytes:
    """A PDF whose pages are drawn by hand, without rules unless they are drawn too."""
    paper = io.BytesIO()
    canvas = Canvas(paper, pagesize=A4, **how)
    draw(canvas)
    canvas.save()
    return paper.getvalue()


def draw_columns(
    canvas: Canvas, rows: Rows, xs: Sequence[float], top: float = 750, font: str = "Helvetica"
) -> None:
    """Rows of words at these places from the left, 14 points apart."""
    canvas.setFont(font, 9)
    for number, row in enumerate(rows):
        for x, text in zip(xs, row, strict=False):
            canvas.drawString(x, top - 14 * number, text)


def print_sheet(*parts: object) -> bytes:
    """A PDF with tables laid out over as many pages as they take."""
    paper = io.BytesIO()
    SimpleDocTemplate(paper, pagesize=A4).build(list(parts))
    return paper.getvalue()


def read(data: bytes, **how: tuple[int, int]) -> PinTable:
    return read_data_sheet(data, "sheet.pdf", None, **how)


def list_texts(table: PinTable) -> list[tuple[int, str, str]]:
    return [
        (pin.number, pin.texts.get("symbol", ""), pin.texts.get("function", ""))
        for pin in table.pins
    ]


def list_dc(table: PinTable) -> dict[int, dict[str, str]]:
    return {
        pin.number: {state: str(read.quantity) for state, read in pin.dc.items()}
        for pin in table.pins
    }


EXPECTED = [(1, "SCL", "bus clock input"), (2, "VCC", "8 V supply"), (3, "GND", "ground")]


def test_a_ruled_table() -> None:
    table = read(print_sheet(Table([HEADS, *PINS], style=[GRID])))
    assert list_texts(table) == EXPECTED
    assert [str(pin.place) for pin in table.pins] == [f"page 1, row {row}" for row in (2, 3, 4)]


def test_an_unruled_table_among_prose() -> None:
    def draw(canvas: Canvas) -> None:
        canvas.setFont("Helvetica", 9)
        canvas.drawString(40, 800, "This invented chip has 3 pins and needs 8 volts in 1 place.")
        draw_columns(canvas, [HEADS, *PINS], [40, 80, 140])
        canvas.drawString(40, 600, "2 words of prose below, with 4 numbers: 5 and 6.")
        canvas.drawString(300, 30, "17")

    table = read(draw_pdf(draw))
    assert list_texts(table) == EXPECTED
    assert table.unread == ()


@pytest.mark.parametrize("mirrored", [True, False], ids=["mirrored", "repeated"])
@pytest.mark.parametrize("ruled", [True, False], ids=["ruled", "unruled"])
def test_two_columns_in_the_order_of_the_package(mirrored: bool, ruled: bool) -> None:
    def right(number: int) -> list[str]:
        cells = [str(number), f"B{number}", f"output {number}"]
        return cells[::-1] if mirrored else cells

    rows = [[str(n), f"A{n}", f"input {n}", *right(17 - n)] for n in range(1, 9)]
    heads = [*HEADS, *(HEADS[::-1] if mirrored else HEADS)]
    if ruled:
        table = read(print_sheet(Table([heads, *rows], style=[GRID])))
    else:
        xs = [40, 70, 110, 260, 400, 460] if mirrored else [40, 70, 110, 260, 300, 360]
        table = read(draw_pdf(lambda canvas: draw_columns(canvas, [heads, *rows], xs)))
    left = [(n, f"A{n}", f"input {n}") for n in range(1, 9)]
    assert list_texts(table) == left + [(n, f"B{n}", f"output {n}") for n in range(9, 17)]


@pytest.mark.parametrize("repeated", [1, 0], ids=["headings repeated", "headings once"])
@pytest.mark.parametrize("rules", [[GRID], []], ids=["ruled", "unruled"])
def test_a_table_split_over_pages(repeated: int, rules: list[object]) -> None:
    rows = [[str(n), f"P{n}", f"function number {n} of many"] for n in range(1, 101)]
    table = read(print_sheet(Table([HEADS, *rows], repeatRows=repeated, style=rules)))
    assert list_texts(table) == [
        (n, f"P{n}", f"function number {n} of many") for n in range(1, 101)
    ]
    assert {pin.place.page for pin in table.pins} == {1, 2, 3}
    assert table.unread == ()


@pytest.mark.parametrize("turn", [90, 180, 270])
def test_a_rotated_page(turn: int) -> None:
    def draw(canvas: Canvas) -> None:
        x, y = {90: (0, -595), 180: (-595, -842), 270: (-842, 0)}[turn]
        canvas.rotate(turn)
        canvas.translate(x, y)
        draw_columns(canvas, [HEADS, *PINS], [60, 100, 160], top=500)

    assert list_texts(read(draw_pdf(draw))) == EXPECTED


def test_a_page_that_says_it_is_rotated() -> None:
    def draw(canvas: Canvas) -> None:
        canvas.setPageRotation(90)
        canvas.rotate(90)
        draw_columns(canvas, [HEADS, *PINS], [60, 100, 160], top=-100)

    assert list_texts(read(draw_pdf(draw))) == EXPECTED


@pytest.mark.parametrize("ruled", [True, False], ids=["ruled", "unruled"])
def test_ligatures_and_greek_letters(ruled: bool) -> None:
    rows = [["1", "FIL", "ﬁlter of the ﬂywheel, 10 kΩ"], ["2", "DL", "delay line, 64 µs ± 1 %"]]
    style = [("FONTNAME", (0, 0), (-1, -1), "Vera"), *([GRID] if ruled else [])]
    assert list_texts(read(print_sheet(Table([HEADS, *rows], style=style)))) == [
        (1, "FIL", "filter of the flywheel, 10 kΩ"),
        (2, "DL", "delay line, 64 µs ± 1 %"),
    ]


def test_signs_that_the_font_does_not_name_are_listed() -> None:
    rows = [["1", "A", "phase φ detector"], ["2", "B", "output"]]
    table = read(draw_pdf(lambda c: draw_columns(c, [HEADS, *rows], [40, 80, 140], font="Vera")))
    assert [(str(u.place), u.reason) for u in table.unread] == [
        ("page 1, row 1", "characters that the font does not name")
    ]


@pytest.mark.parametrize("upright", ["TOP", "MIDDLE", "BOTTOM"])
@pytest.mark.parametrize("rule", ["GRID", "LINEBELOW", None])
def test_cells_of_several_lines_stay_with_their_pin(upright: str, rule: str | None) -> None:
    words = "video input from the vision IF, clamped on the sync tip; fed through 100 nF"
    small = ParagraphStyle("small", fontName="Helvetica", fontSize=8, leading=10)
    ends = [place for place, sign in enumerate(f"{words} ") if sign == " "]
    functions = [words[: ends[2 + 4 * (number % 4)]] for number in range(1, 31)]
    rows = [
        [f"S{number}", str(number), Paragraph(function, small), f"{number}.5"]
        for number, function in enumerate(functions, start=1)
    ]
    style = [("FONTSIZE", (0, 0), (-1, -1), 8), ("VALIGN", (0, 0), (-1, -1), upright)]
    style += [(rule, (0, 0), (-1, -1), 0.5, (0, 0, 0))] if rule else []
    heads = ["Symbol", "Pin", "Description", "DC (V)"]
    table = read(print_sheet(Table([heads, *rows], [50, 30, 90, 60], repeatRows=1, style=style)))
    assert list_texts(table) == [(n, f"S{n}", text) for n, text in enumerate(functions, start=1)]
    assert list_dc(table) == {n: {"": f"{n}.5 V"} for n in range(1, 31)}


def test_min_typ_max_below_one_heading_wrapped_cells_and_a_raised_mark() -> None:
    def draw(canvas: Canvas) -> None:
        canvas.setFont("Helvetica", 9)
        canvas.drawString(320, 762, "DC voltage (V)")
        draw_columns(canvas, [[*HEADS, "min", "typ", "max"]], [40, 70, 110, 320, 360, 400])
        draw_columns(canvas, [["1", "VCC", "supply of the video"]], [40, 70, 110], top=736)
        canvas.drawString(110, 726, "part, decoupled close")
        canvas.drawString(110, 716, "by to pin 2")
        draw_columns(canvas, [["2", "OUT", "output, open"]], [40, 70, 110], top=700)
        canvas.drawString(110, 690, "collector")
        for top, volts in ((736, ("7.6", "8.0", "8.4")), (700, ("-", "1.5", "1.9"))):
            for x, text in zip((334, 374, 414), volts, strict=True):
                canvas.drawRightString(x, top, text)
        canvas.setFont("Helvetica", 6)
        canvas.drawString(375, 703, "1)")
        canvas.drawString(40, 670, "1) Measured with a load of 10 kilohms.")

    table = read(draw_pdf(draw))
    assert list_texts(table) == [
        (1, "VCC", "supply of the video part, decoupled close by to pin 2"),
        (2, "OUT", "output, open collector"),
    ]
    assert list_dc(table) == {
        1: {"": "min 7.6 V typ 8.0 V max 8.4 V"},
        2: {"": "typ 1.5 V max 1.9 V"},
    }
    assert table.pins[1].dc[""].mark == "1"
    assert table.footnotes == {"1": "Measured with a load of 10 kilohms."}


@pytest.mark.parametrize("rules", [[GRID], []], ids=["ruled", "unruled"])
def test_terminal_voltages_and_ratings_are_joined_to_the_pin_description(
    rules: list[object],
) -> None:
    title = getSampleStyleSheet()["Heading2"]
    voltages = [["1", "4.9", "-"], ["2", "8.0", "7.9"], ["3", "0", "0"]]
    ratings = [
        ["VS", "supply voltage at pin 2", "-", "9.0", "V"],
        ["V1", "input voltage", "-0.3", "5.5", "V"],
        ["Tamb", "ambient temperature", "-10", "70", "°C"],
    ]
    table = read(
        print_sheet(
            Paragraph("Pins", title),
            Table([HEADS, *PINS], style=rules),
            PageBreak(),
            Paragraph("Terminal voltages", title),
            Table([["Pin", "DC voltage (V)", ""], ["", "no signal", "with signal"], *voltages],
                  [60, 90, 90],
                  style=[*rules, ("SPAN", (1, 0), (2, 0)), ("SPAN", (0, 0), (0, 1))]),
            Paragraph("Absolute maximum ratings", title),
            Table([["Symbol", "Parameter", "Min", "Max", "Unit"], *ratings], style=rules),
        )
    )  # fmt: skip
    assert list_texts(table) == EXPECTED
    assert list_dc(table)[1] == {"no signal": "4.9 V"}
    assert list_dc(table)[2] == {"no signal": "8.0 V", "with signal": "7.9 V"}
    assert [str(pin.quantities.get("absolute_maximum")) for pin in table.pins] == [
        "-0.3 V .. 5.5 V", "9.0 V", "None",
    ]  # fmt: skip
    assert [pin.dc["no signal"].place.page for pin in table.pins] == [2, 2, 2]
    assert [unread.reason for unread in table.unread] == ["a rating of no pin"]


def test_a_cell_merged_over_rows_holds_for_each() -> None:
    rows = [["1", "IN1", "balanced input"], ["2", "IN2", ""], ["3", "GND", "ground"]]
    table = read(print_sheet(Table([HEADS, *rows], style=[GRID, ("SPAN", (2, 1), (2, 2))])))
    assert list_texts(table)[1] == (2, "IN2", "balanced input")


def test_the_title_is_the_largest_line_of_the_first_page() -> None:
    style = getSampleStyleSheet()["Title"]
    title = "QZ5710 one-chip television processor"
    assert read(print_sheet(Paragraph(title, style), Table([HEADS, *PINS]))).title == title


def _scan(canvas: Canvas) -> None:
    canvas.drawInlineImage(_make_grey_picture(), 50, 50, 400, 600)


def _make_grey_picture() -> object:
    image = pytest.importorskip("PIL.Image")  # reportlab and pdfplumber both bring it
    return image.new("L", (40, 60), 200)


def test_a_scan_without_text_says_so() -> None:
    with pytest.raises(DraftError, match="1 page without text, as of a scan"):
        read(draw_pdf(_scan))


def test_a_scanned_page_among_others_is_listed() -> None:
    def draw(canvas: Canvas) -> None:
        _scan(canvas)
        canvas.showPage()
        draw_columns(canvas, [HEADS, *PINS], [40, 80, 140])

    table = read(draw_pdf(draw))
    assert list_texts(table) == EXPECTED
    assert [str(line) for line in table.unread] == ["'page 1': without text, as of a scan"]


def _draw_sheet(canvas: Canvas) -> None:
    draw_columns(canvas, [HEADS, *PINS], [40, 80, 140])


@pytest.mark.parametrize(
    ("data", "found"),
    [
        (b"", "an empty file"),
        (b"Pin,Symbol\n", "a file that is no PDF"),
        (b"%PDF-1.4\n%%EOF\n", "a damaged PDF"),
        (draw_pdf(_draw_sheet)[:-200], "a PDF that is cut short"),
        (draw_pdf(_draw_sheet)[:400], "a PDF that is cut short"),
        (draw_pdf(_draw_sheet, encrypt="secret"), "an encrypted PDF"),
        (
            draw_pdf(lambda canvas: canvas.drawString(40, 700, "prose")),
            "no table of pins on 1 page",
        ),
    ],
    ids=["empty", "no PDF", "damaged", "cut at the end", "cut early", "encrypted", "no table"],
)
def test_what_cannot_be_read_is_refused_in_one_line(data: bytes, found: str) -> None:
    with pytest.raises(DraftError) as refused:
        read(data)
    assert str(refused.value).startswith(f"sheet.pdf:1:1: {found}: expected ")
    assert "\n" not in str(refused.value)


def test_a_sheet_of_500_pages_is_read_as_far_as_it_may_and_says_so() -> None:
    def draw(canvas: Canvas) -> None:
        for page in range(1, 501):
            canvas.drawString(40, 800, "an appendix")
            if page in (3, 450):
                draw_columns(
                    canvas, [HEADS, *PINS[:2]] if page == 3 else [HEADS, PINS[2]], [40, 80, 140]
                )
            canvas.showPage()

    data = draw_pdf(draw)
    table = read(data)
    assert list_texts(table) == EXPECTED[:2]
    assert [str(line) for line in table.unread] == [
        f"'pages {MOST_PAGES + 1} to 500': not looked at; give --pages 101-200"
    ]
    assert list_texts(read(data, pages=(440, 460))) == EXPECTED[2:]
    with pytest.raises(DraftError, match="pages 501 to 510: expected pages between 1 and 500"):
        read(data, pages=(501, 510))


def test_a_page_too_full_of_rules_is_left_out_and_listed() -> None:
    def draw(canvas: Canvas) -> None:
        _draw_sheet(canvas)
        canvas.showPage()
        canvas.drawString(40, 800, "a picture of many strokes")
        for number in range(8_200):
            canvas.line(40, number % 700, 500, number % 699)

    table = read(draw_pdf(draw))
    assert list_texts(table) == EXPECTED
    assert [unread.reason.partition(":")[0] for unread in table.unread] == [
        "too full to look for tables"
    ]
