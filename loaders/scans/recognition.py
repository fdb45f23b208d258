"""Recognise the words of a page with rapidocr, short ones twice; its models are in the package.

The direction classifier stays off: it turns a lone "9" into "6" with a confidence of 0.9999.
Confidence alone proves nothing, so short texts, which are the symbols and numbers of tables, are
read a second time from another cut-out; ``doubts`` compares the two.
"""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final, NamedTuple

import numpy as np
import numpy.typing as npt
import rapidocr
from PIL import Image

from .ink import Rule, erase_rules, find_ink, find_rules, find_skew
from .page_pictures import PIXELS_PER_POINT
from .ruled_cells import divide_by_rules
from .scanned_page import Box, ScannedPage, ScannedWord
from .text_boxes import PixelBox, are_sideways, divide_boxes, find_missed_blots

_THREADS: Final = 2
_DETECTION_PIXELS: Final = 1280  # of the longer side: 110 dpi of A4
_MARGIN: Final = 0.28  # of the height of the text, around a cut-out
_OTHER_MARGIN: Final = 0.5
_OTHER_SCALE: Final = 0.7
_LONGEST_TWICE: Final = 14  # characters of a text that is read twice
_SIGNS: Final = frozenset({"-", "−", "–", "—", "%", "°", "±", "*", "†"})
_LEAST_OF_SHORT: Final = 0.5
_LEAST_UPRIGHT: Final = 0.8  # average confidence of a page that stands upright
_WHITE: Final = 255
_JPEG_QUALITY: Final = 60
# The model knows the signs of many languages; these are not those of a data sheet.
_PLAIN_SIGNS: Final = str.maketrans(
    {
        "℃": "°C",
        "μ": "µ",
        "∆": "Δ",
        "ł": "l",
        "（": "(",
        "）": ")",
        "，": ",",
        "：": ":",
        "－": "-",
        "～": "~",
        "Ｖ": "V",
    }
)
_POINTED_FIGURE: Final = re.compile(r"[-+]?[0-9]+\.[0-9]+")
_UNIT_LETTERS: Final = {"w": "W", "v": "V"}
_BATCH_SHAPE: Final = [3, 48, 96]  # channels, height, least width of a batch of cut-outs

Pixels = npt.NDArray[np.uint8]


class _Layout(NamedTuple):
    """A straightened page with and without its rules, the rules, and the lines of text."""

    straight: Image.Image
    clean: Image.Image
    skew_deg: float
    across: list[Rule]
    down: list[Rule]
    boxes: list[PixelBox]


class Recogniser:
    """Detects and recognises text; making one loads the models, which takes about a second."""

    def __init__(self) -> None:
        models = Path(rapidocr.__file__).parent / "models"
        self._engine: Any = rapidocr.RapidOCR(
            params={
                "Global.use_cls": False,
                "Global.log_level": "critical",
                "Global.text_score": 0.0,
                "Global.max_side_len": _DETECTION_PIXELS,
                # By their paths: a model that is missing is an error, never a download.
                "Det.model_path": str(next(models.glob("*_det_*.onnx"))),
                "Rec.model_path": str(next(models.glob("*_rec_*.onnx"))),
                "Rec.rec_img_shape": _BATCH_SHAPE,
                "EngineConfig.onnxruntime.intra_op_num_threads": _THREADS,
                "EngineConfig.onnxruntime.inter_op_num_threads": 1,
            }
        )

    def read_page(self, page: Image.Image, number: int) -> ScannedPage:
        """Return the words and ruled tables of a page in grey, after turning it upright.

        A page that lies on its side or stands on its head is turned by its text.
        """
        layout = self._lay_out(page)
        if are_sideways(layout.boxes):
            page = page.transpose(Image.Transpose.ROTATE_90)
            layout = self._lay_out(page)
        read = self._read_layout(layout, number)
        if _average_confidence(read) >= _LEAST_UPRIGHT:
            return read
        on_its_head = self._lay_out(page.transpose(Image.Transpose.ROTATE_180))
        return max(read, self._read_layout(on_its_head, number), key=_average_confidence)

    def _lay_out(self, page: Image.Image) -> _Layout:
        """Return the straightened page with its rules and lines of text."""
        skew_deg = find_skew(find_ink(page))
        straight = page.rotate(skew_deg, Image.Resampling.BICUBIC, fillcolor=_WHITE)
        across, down = find_rules(find_ink(straight))
        clean = erase_rules(straight, across, down)
        return _Layout(straight, clean, skew_deg, across, down, self._detect(clean))

    def _read_layout(self, layout: _Layout, number: int) -> ScannedPage:
        """Return the words and ruled tables of a page that was laid out."""
        ink = find_ink(layout.clean)
        boxes = divide_boxes(ink, layout.boxes, layout.down)
        boxes += find_missed_blots(ink, boxes)
        words = self._recognise(layout.clean, boxes)
        free, tables = divide_by_rules(words, layout.across, layout.down, number)
        width, height = (side / PIXELS_PER_POINT for side in layout.straight.size)
        picture = _pack(layout.straight)
        return ScannedPage(number, width, height, layout.skew_deg, free, tables, picture)

    def _detect(self, page: Image.Image) -> list[PixelBox]:
        """Return the boxes of the lines of text."""
        output = self._engine(_to_colours(page), use_det=True, use_rec=False)
        corners = output.boxes if output.boxes is not None else []
        return [_make_pixel_box(corner, page) for corner in corners]

    def _recognise(self, page: Image.Image, boxes: Sequence[PixelBox]) -> tuple[ScannedWord, ...]:
        """Return the words of the boxes, from the top; boxes without any text are left out."""
        texts = self._read([_cut_out(page, box, _MARGIN) for box in boxes])
        read = [(box, *one) for box, one in zip(boxes, texts, strict=True) if one[0]]
        short = [index for index, one in enumerate(read) if len(one[1]) <= _LONGEST_TWICE]
        others = self._read(
            [_cut_out(page, read[i][0], _OTHER_MARGIN, _OTHER_SCALE) for i in short]
        )
        other_of = {index: other[0] for index, other in zip(short, others, strict=True)}
        return tuple(
            ScannedWord(text, confidence, _to_points(box), other_of.get(index, ""))
            for index, (box, text, confidence) in enumerate(read)
            if not _is_dust(text, confidence)
        )

    def _read(self, cut_outs: list[Pixels]) -> list[tuple[str, float]]:
        """Return text and confidence of each cut-out."""
        if not cut_outs:
            return []
        output = self._engine.recognize_txt(cut_outs)
        return [
            (spell_plainly(text), float(score))
            for text, score in zip(output.txts, output.scores, strict=True)
        ]


def spell_plainly(text: str) -> str:
    """Return a recognised text in the characters of the trade: no full-width signs, no ``ł``."""
    words = text.translate(_PLAIN_SIGNS).replace("°°", "°").split()
    plain = " ".join(_UNIT_LETTERS.get(word, word) for word in words)
    return _remove_specks(plain) if len(plain) <= _LONGEST_TWICE else plain


def _remove_specks(text: str) -> str:
    """Return a short text without the points and commas that dust beside it was read as."""
    bare = text.strip(",;:'`´ ").strip()
    if _POINTED_FIGURE.fullmatch(bare.strip(".")):
        return bare.strip(".")
    ended = bare.rstrip(".")
    return ended if ended and "." not in ended else bare


def _is_dust(text: str, confidence: float) -> bool:
    """Return True for a sign or two that nothing but dust explains."""
    is_sign = not any(char.isalnum() for char in text) and text not in _SIGNS
    return is_sign or (len(text) <= 2 and confidence < _LEAST_OF_SHORT)


def _average_confidence(page: ScannedPage) -> float:
    """Return the average confidence of the words of a page; 1 for one without any."""
    cells = [cell for table in page.tables for row in table.rows for cell in row]
    words = [*page.words, *(word for cell in cells for word in cell.words)]
    return sum(word.confidence for word in words) / len(words) if words else 1.0


def _make_pixel_box(corners: Any, page: Image.Image) -> PixelBox:
    xs, ys = corners[:, 0], corners[:, 1]
    left, top = max(0, int(xs.min())), max(0, int(ys.min()))
    return PixelBox(
        left, top, min(page.width, int(xs.max()) + 1), min(page.height, int(ys.max()) + 1)
    )


def _cut_out(page: Image.Image, box: PixelBox, margin: float, scale: float = 1.0) -> Pixels:
    """Return the pixels of a box with a margin of so many of its heights, in three colours."""
    edge = max(2, round(margin * box.height))
    part = page.crop((box.left - edge, box.top - edge, box.right + edge, box.bottom + edge))
    if scale != 1.0:
        size = (max(4, round(part.width * scale)), max(4, round(part.height * scale)))
        part = part.resize(size, Image.Resampling.BICUBIC)
    return _to_colours(part)


def _to_colours(page: Image.Image) -> Pixels:
    grey = np.asarray(page, dtype=np.uint8)
    return np.ascontiguousarray(np.repeat(grey[:, :, None], 3, axis=2))


def _to_points(box: PixelBox) -> Box:
    left, top, right, bottom = (
        round(side / PIXELS_PER_POINT, 1) for side in (box.left, box.top, box.right, box.bottom)
    )
    return Box(left, top, right, bottom)


def _pack(page: Image.Image) -> bytes:
    packed = io.BytesIO()
    page.save(packed, "JPEG", quality=_JPEG_QUALITY)
    return packed.getvalue()
