"""The sheet of a chip as a page and as JSON."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from datasette.app import Datasette
from datasette.utils.asgi import Request, Response

from ....loaders import Folio
from ....schema import Chip, Part
from ....schema.chips.lookup import find_condition
from ....schema.errors import Unknown
from ...cards.attached_captures import AttachmentView, view_attachments
from ...cards.caution_strip import summarise_cautions
from ...cards.chip_sheet import (
    MOST_NOTES,
    ChipSheet,
    build_chip_sheet,
    describe_part,
    list_known_failings,
)
from ...cards.pin_table import PinTable, build_pin_table
from ...cards.stage_lanes import Lane, lay_out_lanes
from ...drawing.package_drawing import draw_package
from ...drawing.package_map import PackageMap, map_package
from ...drawing.role_glyphs import ROLE_WORDS, draw_glyph
from ...search.marking_lookup import find_chip
from ..page_context import Addresses, ask, from_address, render_page, respond_json, respond_unknown

_FILTERS: Final = ("words", "role", "stage")


@dataclass(frozen=True)
class _SheetPage:
    """A chip's sheet with its table and drawings, computed off the event loop."""

    sheet: ChipSheet
    table: PinTable
    lanes: tuple[Lane, ...]
    failing: tuple[Part, ...]
    """Parts of which the chip file says how they show when they fail."""
    caution: str
    map: PackageMap | None
    top: str
    """The package drawn from the top, where it has no two rows."""
    solder: str
    attached: dict[str, tuple[AttachmentView, ...]]
    column: int
    """Place of the state of the set that the table shows first."""
    fitting: int | None
    """Number of pins that fit the question in the address; None without a question."""
    roles = ROLE_WORDS
    glyph = staticmethod(draw_glyph)


async def chip(datasette: Datasette, request: Request) -> Response:
    """Return the sheet of a chip; ``?condition=`` chooses the state of the set.

    ``?words=``, ``role`` and ``stage`` keep to pins that fit.
    """
    part = from_address(request.url_vars["part"])
    condition = request.args.get("condition")
    wants_json = bool(request.url_vars["format"])
    addresses = Addresses(datasette)
    filters = {name: (request.args.get(name) or "").strip() for name in _FILTERS}

    def build_document(folio: Folio) -> dict[str, Any]:
        return _build_sheet(folio, find_chip(folio, part), condition).document()

    def draw_page(folio: Folio) -> _SheetPage:
        return _draw_sheet(folio, find_chip(folio, part), condition, filters, addresses)

    try:
        if wants_json:
            return respond_json(await ask(datasette, build_document))
        page = await ask(datasette, draw_page)
    except Unknown as error:
        return await respond_unknown(datasette, request, error, part)
    sheet_chip = page.sheet.chip
    part_count = len(sheet_chip.application.parts)
    return await render_page(
        datasette,
        request,
        "chip_sheet.html",
        page=page,
        sheet=page.sheet,
        chip=sheet_chip,
        parts=[describe_part(sheet_chip, index) for index in range(part_count)],
        attached=page.attached,
        asked=filters,
    )


def _build_sheet(folio: Folio, chip: Chip, condition: str | None) -> ChipSheet:
    name = find_condition(chip, condition) if condition else None
    notes = folio.notes(chip.part, limit=MOST_NOTES)
    return build_chip_sheet(chip, name, notes, folio.proposals(notes))


def _draw_sheet(
    folio: Folio,
    chip: Chip,
    condition: str | None,
    filters: dict[str, str],
    addresses: Addresses,
) -> _SheetPage:
    """Return the sheet of a chip with its table, pictures and links."""
    sheet = _build_sheet(folio, chip, condition)
    table = build_pin_table(chip, folio.notes(chip.part, limit=MOST_NOTES))
    chosen_condition = find_condition(chip, condition) if condition else None
    # Packages with two rows are a table of the page; the others are drawn.
    package_map = map_package(chip)
    top, solder = ("", "") if package_map else _draw_sides(chip, addresses)
    words, role, stage = (filters[name] for name in _FILTERS)
    fitting_count = sum(row.fits(words, role, stage) for row in table.rows)
    return _SheetPage(
        sheet=sheet,
        table=table,
        lanes=lay_out_lanes(chip),
        failing=list_known_failings(chip),
        caution=summarise_cautions(chip),
        map=package_map,
        top=top,
        solder=solder,
        attached=view_attachments(folio, sheet.remarks, draws_captures=False),
        column=(
            table.conditions.index(chosen_condition) if chosen_condition in table.conditions else 0
        ),
        fitting=fitting_count if any(filters.values()) else None,
    )


def _draw_sides(chip: Chip, addresses: Addresses) -> tuple[str, str]:
    """Return the package from the top and from the solder side, every pin linked to its card."""
    return (
        draw_package(chip, "top", None, lambda pin: addresses.pin(chip.part, pin.number)),
        draw_package(chip, "solder", None, lambda pin: addresses.pin(chip.part, pin.number)),
    )


VIEWS: Final = (chip,)
