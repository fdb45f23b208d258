"""Hostile PDFs of a few kilobytes end within limits of memory and time, with one clear error."""

from __future__ import annotations

import io
import resource
import zlib
from collections.abc import Sequence

import pytest
from pinfolio.loaders.drafting import limited_data_sheet
from pinfolio.loaders.drafting.limited_data_sheet import read_limited_data_sheet
from pinfolio.loaders.drafting.text_table import DraftError
from reportlab.pdfgen.canvas import Canvas

MOST_RESIDENT_BYTES = 400_000_000
MOST_CPU_S = 10
OPERATORS = 2_500_000


def stream(data: bytes, entries: bytes = b"") -> bytes:
    return b"<< /Length %d %s >> stream\n%s\nendstream" % (len(data), entries, data)


def make_pdf(*objects: bytes) -> bytes:
    """Return a PDF of these objects, numbered from 1; the first is the catalogue."""
    body, places = b"%PDF-1.5\n", []
    for number, content in enumerate(objects, start=1):
        places.append(len(body))
        body += b"%d 0 obj\n%s\nendobj\n" % (number, content)
    table = b"xref\n0 %d\n0000000000 65535 f \n" % (len(objects) + 1)
    table += b"".join(b"%010d 00000 n \n" % place for place in places)
    trailer = b"trailer << /Size %d /Root 1 0 R >>\n" % (len(objects) + 1)
    return body + table + trailer + b"startxref\n%d\n%%%%EOF\n" % len(body)


def make_page(content: bytes, resources: bytes, *objects: bytes, entries: bytes = b"") -> bytes:
    """Return a PDF of one page; ``objects`` are numbered from 5."""
    return make_pdf(
        b"<< /Type /Catalog /Pages 2 0 R >>",
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 600 800] /Contents 4 0 R "
        b"/Resources << %s >> >>" % resources,
        stream(content, entries),
        *objects,
    )


def make_character_range() -> bytes:
    """A font whose character map names 268 million characters in one range."""
    font = b"<< /Type /Font /Subtype /Type1 /BaseFont /Helvetica /ToUnicode 6 0 R >>"
    characters = b"1 beginbfrange\n<00000000> <0FFFFFFF> <0041>\nendbfrange"
    return make_page(b"BT /F 9 Tf (A) Tj ET", b"/Font << /F 5 0 R >>", font, stream(characters))


def make_endless_operators() -> bytes:
    """A page of 2.5 million pairs of operators that draw nothing, in 10 kB."""
    content = zlib.compress(b"q Q " * OPERATORS, 9)
    return make_page(content, b"/Font << >>", entries=b"/Filter /FlateDecode")


@pytest.mark.parametrize(
    ("data", "reasons"),
    [
        (make_character_range(), ("256 MB of memory", "processor time")),
        (make_endless_operators(), ("processor time", "more than 28 s")),
    ],
    ids=["memory", "time"],
)
def test_a_small_pdf_that_takes_much_is_one_error_within_limits(
    data: bytes, reasons: Sequence[str]
) -> None:
    assert len(data) < 12_000
    before = resource.getrusage(resource.RUSAGE_SELF).ru_utime
    with pytest.raises(DraftError) as refused:
        read_limited_data_sheet(data, "sheet.pdf")
    (fault,) = refused.value.faults
    assert fault.found.startswith("a PDF that takes ")
    assert any(reason in fault.found for reason in reasons)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_utime - before < MOST_CPU_S


def test_a_sheet_gives_the_same_pins_in_the_child_process() -> None:
    paper = io.BytesIO()
    canvas = Canvas(paper)
    for number, line in enumerate(["Pin|Symbol|Function", "1|VCC|8 V supply", "2|GND|ground"]):
        for x, cell in zip((40, 90, 160), line.split("|"), strict=True):
            canvas.drawString(x, 750 - 16 * number, cell)
    canvas.save()
    table = read_limited_data_sheet(paper.getvalue(), "sheet.pdf")
    assert {pin.number: pin.texts["symbol"] for pin in table.pins} == {1: "VCC", 2: "GND"}


def test_the_faults_of_a_sheet_come_back_from_the_child_process() -> None:
    with pytest.raises(DraftError, match=r"sheet\.pdf:1:1: a file that is no PDF"):
        read_limited_data_sheet(b"no PDF", "sheet.pdf")
    assert limited_data_sheet._MEMORY_BYTES < MOST_RESIDENT_BYTES
