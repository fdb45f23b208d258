"""Values of a scanned sheet, with the pictures of their places."""

from __future__ import annotations

import io

from PIL import Image, ImageDraw
from pinfolio.loaders.scans.scanned_page import Box, ScannedPage
from pinfolio.plugins.contributing.scan_review import cut_snippet


def test_a_snippet_shows_its_place_with_what_is_beside() -> None:
    picture = Image.new("L", (1190, 1684), 255)  # two pixels to a point
    ImageDraw.Draw(picture).rectangle((400, 600, 440, 616), fill=0)
    packed = io.BytesIO()
    picture.save(packed, "JPEG")
    page = ScannedPage(1, 595, 842, 0.0, (), picture=packed.getvalue())
    snippet = Image.open(io.BytesIO(cut_snippet(page, Box(200, 300, 220, 308))))
    assert snippet.size == (2 * (20 + 80), 2 * (8 + 16))
    assert snippet.getpixel((100, 24)) < 60
    assert snippet.getpixel((10, 24)) > 200


def test_a_place_at_the_edge_of_the_page_has_a_snippet_too() -> None:
    packed = io.BytesIO()
    Image.new("L", (595, 842), 255).save(packed, "JPEG")
    page = ScannedPage(1, 595, 842, 0.0, (), picture=packed.getvalue())
    assert Image.open(io.BytesIO(cut_snippet(page, Box(590, 838, 600, 850)))).size[0] > 0
