"""The values of a scanned sheet beside the picture of their place, doubtful ones first."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from PIL import Image

from ...loaders.drafting.pin_table import PinTable
from ...loaders.scans.scanned_page import Box, ScannedCell, ScannedPage
from .drafting import Drafted

_MARGIN_PT: Final = 8.0
_LEFT_AND_RIGHT_PT: Final = 40.0  # so that neighbouring cells are seen
_JPEG_QUALITY: Final = 70


@dataclass(frozen=True)
class ReadValue:
    """One value as it was recognised, with the picture of its place."""

    about: str
    """Its field and pin, or its heading and row."""
    text: str
    other_reading: str
    """The second reading if it is another text; else empty."""
    doubt: str
    """The reason why it is left blank; empty for a value that is used."""
    place: str
    confidence_percent: int
    page: int
    box: Box
    snippet: bytes
    """The part of the page as JPEG."""


def list_read_values(drafted: Drafted, *, only_doubtful: bool = False) -> list[ReadValue]:
    """Return the values of the scanned pages of a draft, those that are left blank first."""
    values: dict[tuple[int, Box], ReadValue] = {}
    for about, cell in _list_cells(drafted.table, only_doubtful):
        page, box = drafted.scanned.get(cell.page), cell.box
        if page is not None and box is not None and not cell.is_confirmed:
            values.setdefault((cell.page, box), _make_value(about, cell, page, box))
    return list(values.values())


def _list_cells(table: PinTable, only_doubtful: bool) -> Iterator[tuple[str, ScannedCell]]:
    """Yield each cell of the tables with the field that it fills or would fill."""
    for doubtful in table.doubtful:
        yield doubtful.about, doubtful.cell
    if only_doubtful:
        return
    for pin in table.pins:
        for field, cell in pin.scanned.items():
            if field not in pin.unreadable:
                yield f"pin {pin.number}: {field.rstrip('@')}", cell
    for parameter in table.parameters:
        if parameter.scanned is not None:
            yield f"parameter: {parameter.value}", parameter.scanned


def _make_value(about: str, cell: ScannedCell, page: ScannedPage, box: Box) -> ReadValue:
    others = [word.other_reading for word in cell.words if word.other_reading != word.text]
    return ReadValue(
        about=about,
        text=cell.text,
        other_reading=" ".join(filter(None, others)),
        doubt=cell.doubt,
        place=cell.place,
        confidence_percent=min(int(100 * cell.confidence), 99),
        page=cell.page,
        box=box,
        snippet=cut_snippet(page, box),
    )


def cut_snippet(page: ScannedPage, box: Box) -> bytes:
    """Return the picture around a box as JPEG."""
    with Image.open(io.BytesIO(page.picture)) as picture:
        scale = picture.width / page.width
        sides = (
            max(0.0, box.x0 - _LEFT_AND_RIGHT_PT),
            max(0.0, box.top - _MARGIN_PT),
            min(page.width, box.x1 + _LEFT_AND_RIGHT_PT),
            min(page.height, box.bottom + _MARGIN_PT),
        )
        left, top, right, bottom = (round(scale * side) for side in sides)
        part = picture.crop((left, top, max(right, left + 1), max(bottom, top + 1)))
    packed = io.BytesIO()
    part.save(packed, "JPEG", quality=_JPEG_QUALITY)
    return packed.getvalue()
