"""Recognise the pages of a PDF or picture in a child process, so that a hostile one cannot take
the machine."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from contextlib import closing
from dataclasses import dataclass, replace
from importlib.util import find_spec
from typing import Any, Final

from ..system.limited_process import LimitReachedError
from ..system.limited_worker import LimitedWorker
from .scanned_page import Box, ScannedCell, ScannedPage, ScannedTable, ScannedWord

Progress = Callable[[int, int, str], None]
"""Called with the number of pages done, the number of all, and the last page's name."""

MOST_PAGES: Final = 100
_MEMORY_BYTES: Final = 3_000_000_000  # address space: the engine maps far more than it uses
_FIRST_WALL_S: Final = 120  # loading the models takes a second on an idle machine
_PAGE_WALL_S: Final = 300  # a page takes up to five seconds on two idle processors
_STANDARD_ERROR: Final = 2
_COUNT: Final = 0
"""The question for the number of pages; others are numbers of pages, from 1."""


class RecognitionError(Exception):
    """Pages that cannot be recognised; the message says which and why."""


@dataclass(frozen=True)
class _Refusal:
    """The answer for a page that cannot be read."""

    reason: str


def is_recognition_installed() -> bool:
    """Return True if the extra for text recognition is installed."""
    return all(find_spec(name) is not None for name in ("rapidocr", "onnxruntime", "pypdfium2"))


def recognise_pages(
    data: bytes,
    pages: tuple[int, int] | None = None,
    progress: Progress | None = None,
) -> dict[int, ScannedPage]:
    """Return the pages without text of a PDF, or the one of a picture file, by number from 1.

    ``pages`` are the first and last, else the first hundred. A page that cannot be read is left
    out if there are others. Raises RecognitionError.
    """
    with closing(LimitedWorker(_start, data, memory_bytes=_MEMORY_BYTES, niceness=0)) as worker:
        count = _ask(worker, _COUNT, "the file", _FIRST_WALL_S)
        first, last = pages or (1, MOST_PAGES)
        numbers = range(first, min(last, count, first + MOST_PAGES - 1) + 1)
        recognised: dict[int, ScannedPage] = {}
        faults: list[RecognitionError] = []
        for done, number in enumerate(numbers, start=1):
            if progress is not None:
                progress(done - 1, len(numbers), f"page {number}")
            try:
                page = _ask(worker, number, f"page {number}", _PAGE_WALL_S)
            except RecognitionError as fault:
                faults.append(fault)
                page = None
            if page is not None:
                recognised[number] = page
            if progress is not None:
                progress(done, len(numbers), f"page {number}")
    if faults and not recognised:
        raise faults[0]
    return recognised


def _ask(worker: LimitedWorker, question: int, about: str, wall_s: float) -> Any:
    try:
        answer = worker.ask(question, wall_s)
    except LimitReachedError as reached:
        raise RecognitionError(f"{about} takes {reached}") from None
    if isinstance(answer, _Refusal):
        raise RecognitionError(f"{about} cannot be read: {answer.reason}")
    return answer


def _start(data: bytes) -> Callable[[int], object]:
    """Return the function that answers for pages; runs in the child process."""
    null_device = os.open(os.devnull, os.O_WRONLY)
    os.dup2(null_device, _STANDARD_ERROR)  # decoders complain there about unusual files
    os.close(null_device)
    from .page_pictures import UnreadablePictureError, decode_picture, open_pdf, render_pdf_page

    document = open_pdf(data)
    recogniser: Any = None

    def answer(question: int) -> object:
        nonlocal recogniser
        if question == _COUNT:
            return len(document) if document is not None else 1
        try:
            if document is not None:
                picture = render_pdf_page(document, question)
            else:
                picture = decode_picture(data)
        except UnreadablePictureError as fault:
            return _Refusal(str(fault))
        if picture is None:
            return None
        if recogniser is None:
            from .recognition import Recogniser

            recogniser = Recogniser()
        return recogniser.read_page(picture, question)

    return answer


def correct_pages(
    pages: Mapping[int, ScannedPage], corrections: Mapping[tuple[int, Box], str]
) -> dict[int, ScannedPage]:
    """Return the pages with texts that a person compared, by page and box of the cell."""
    return {number: _correct_page(page, corrections) for number, page in pages.items()}


def _correct_page(page: ScannedPage, corrections: Mapping[tuple[int, Box], str]) -> ScannedPage:
    own = {box: text for (number, box), text in corrections.items() if number == page.number}
    tables = tuple(
        ScannedTable(
            table.box, tuple(tuple(_correct_cell(cell, own) for cell in row) for row in table.rows)
        )
        for table in page.tables
    )
    return replace(page, words=_correct_words(page.words, own), tables=tables)


def _correct_cell(cell: ScannedCell, own: Mapping[Box, str]) -> ScannedCell:
    return replace(cell, words=_correct_words(cell.words, own))


def _correct_words(
    words: tuple[ScannedWord, ...], own: Mapping[Box, str]
) -> tuple[ScannedWord, ...]:
    """Return the words with those inside a compared box replaced by its text."""
    corrected: list[ScannedWord] = []
    written: set[Box] = set()
    for word in words:
        box = next((box for box in own if box.contains_middle(word.box)), None)
        if box is None:
            corrected.append(word)
        elif box not in written:
            written.add(box)
            corrected.append(ScannedWord(own[box], 1.0, box, is_confirmed=True))
    return tuple(corrected)
