"""Small PDFs that would unpack to more than a machine holds are given up in time."""

from __future__ import annotations

import io
import tracemalloc
import zlib
from collections.abc import Iterator, Sequence

import pytest
from pdfminer.pdftypes import PDFStream
from pinfolio.loaders.drafting import data_sheet_pdf as data_sheet
from pinfolio.loaders.drafting.data_sheet_pdf import read_data_sheet
from pinfolio.loaders.drafting.pin_table import PinTable
from pinfolio.loaders.drafting.text_table import DraftError
from pinfolio.loaders.system.pdf_limits import MOST_UNPACKED, limit_unpacking
from reportlab.pdfgen.canvas import Canvas

TABLE = ["Pin|Symbol|Function", "1|VCC|8 V supply", "2|GND|ground"]
LARGE = 4 * MOST_UNPACKED


def stream(data: bytes, entries: bytes = b"") -> bytes:
    return b"<< /Length %d %s >> stream\n%s\nendstream" % (len(data), entries, data)


def make_pdf(*objects: bytes) -> bytes:
    """A PDF of these objects, numbered from 1; the first is the catalogue."""
    paper, places = io.BytesIO(b"%PDF-1.5\n"), []
    paper.seek(0, io.SEEK_END)
    for number, content in enumerate(objects, start=1):
        places.append(paper.tell())
        paper.write(b"%d 0 obj\n%s\nendobj\n" % (number, content))
    start = paper.tell()
    paper.write(b"xref\n0 %d\n0000000000 65535 f \n" % (len(objects) + 1))
    paper.writelines(b"%010d 00000 n \n" % place for place in places)
    paper.write(b"trailer << /Size %d /Root 1 0 R >>\n" % (len(objects) + 1))
    paper.write(b"startxref\n%d\n%%%%EOF\n" % start)
    return paper.getvalue()


def make_page(content: bytes, *more: bytes, forms: bytes = b"") -> bytes:
    """A PDF of one page; ``more`` are the objects from 5 on."""
    font = b"/Font << /F << /Type /Font /Subtype /Type1 /BaseFont /Helvetica >> >>"
    return make_pdf(
        b"<< /Type /Catalog /Pages 2 0 R >>",
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 600 800] /Contents 4 0 R "
        b"/Resources << %s /XObject << %s >> >> >>" % (font, forms),
        content,
        *more,
    )


def pack_stream(piece: bytes, size: int) -> bytes:
    packer = zlib.compressobj(9)
    times = size // len(piece)
    return b"".join(packer.compress(piece) for _ in range(times)) + packer.flush()


FLATE = b"/Filter /FlateDecode"
SPACES = pack_stream(b" " * 1_000_000, LARGE)


def make_nested_filters() -> bytes:
    """Twenty forms, each of which draws the next one twice: a million lines in 4 kB."""
    forms = b" ".join(b"/X%d %d 0 R" % (number, number) for number in range(5, 25))
    draws = [b"/X%d Do /X%d Do" % (number + 1, number + 1) for number in range(5, 24)]
    draws.append(b"BT /F 9 Tf 50 500 Td (line) Tj ET")
    entries = b"/Type /XObject /Subtype /Form /BBox [0 0 600 800]"
    return make_page(stream(b"/X5 Do"), *(stream(draw, entries) for draw in draws), forms=forms)


WIDE = FLATE + b" /DecodeParms << /Predictor 12 /Columns 999999999 >>"
UNPACKING = {
    "spaces": make_page(stream(SPACES, FLATE)),
    "packed twice": make_page(
        stream(zlib.compress(SPACES), b"/Filter [/FlateDecode /FlateDecode]")
    ),
    "packed as text": make_page(stream(SPACES.hex().encode() + b">", b"/Filter [/AHx /Fl]")),
    "runs": make_page(stream(b"\x81 " * 1_000_000, b"/Filter /RunLengthDecode")),
    "a wide row": make_page(stream(zlib.compress(b" "), WIDE)),
}
FULL = {
    "forms in forms": make_nested_filters(),
    "strokes": make_page(stream(pack_stream(b"0 0 m 9 9 l S\n" * 1000, 3_000_000), FLATE)),
}


def read_in_little_room(data: bytes) -> PinTable:
    """Read a PDF, and see that it took little more room than may be unpacked."""
    tracemalloc.start()
    try:
        return read_data_sheet(data, "sheet.pdf")
    finally:
        taken = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        assert taken < 3 * MOST_UNPACKED


@pytest.mark.parametrize("data", UNPACKING.values(), ids=UNPACKING)
def test_a_page_that_unpacks_to_too_much_is_one_clear_error(data: bytes) -> None:
    assert len(data) < 3_000_000
    with pytest.raises(DraftError) as refused:
        read_in_little_room(data)
    assert "no table of pins; page 1 unpacks to more than 64 MB: expected" in str(refused.value)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize("data", FULL.values(), ids=FULL)
def test_a_page_with_too_much_on_it_is_one_clear_error(data: bytes) -> None:
    assert len(data) < 100_000
    with pytest.raises(DraftError) as refused:
        read_data_sheet(data, "sheet.pdf")
    assert "no table of pins; page 1 too full to look for tables: expected" in str(refused.value)


def test_a_list_of_objects_beyond_bounds_is_not_even_opened() -> None:
    entries = b"/Type /XRef /Size 9 /W [1 1 1] /Root 1 0 R " + FLATE
    data = b"%PDF-1.5\n1 0 obj\n" + stream(SPACES, entries) + b"\nendobj\nstartxref\n9\n%%EOF\n"
    with pytest.raises(DraftError, match="a PDF that unpacks to more than 64 MB"):
        read_in_little_room(data)


def drawn(pages: Sequence[Sequence[str]]) -> Iterator[bytes]:
    """Pages of a sheet, packed the ways that are usual."""
    for packing in (0, 1):
        paper = io.BytesIO()
        canvas = Canvas(paper, pageCompression=packing)
        for lines in pages:
            for number, line in enumerate(lines):
                for x, cell in zip((40, 90, 160), line.split("|"), strict=False):
                    canvas.drawString(x, 750 - 16 * number, cell)
            canvas.showPage()
        canvas.save()
        yield paper.getvalue()


def test_pages_before_the_one_beyond_bounds_are_read_and_the_rest_listed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    for data in drawn([TABLE, ["prose " * 9] * 40, TABLE, TABLE]):
        bound = limit_unpacking(1500)
        monkeypatch.setattr(data_sheet, "limit_unpacking", lambda bound=bound: bound)
        table = read_data_sheet(data, "sheet.pdf")
        assert [pin.number for pin in table.pins] == [1, 2]
        assert [str(unread) for unread in table.unread] == [
            "'page 2': unpacks to more than 64 MB",
            "'pages 3-4': not looked at; give --pages 3-4",
        ]


def test_the_bound_goes_with_the_sheet() -> None:
    decode = PDFStream.decode
    with limit_unpacking():
        assert PDFStream.decode is not decode
    assert PDFStream.decode is decode
