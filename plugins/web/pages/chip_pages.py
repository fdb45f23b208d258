"""The chip sheet as a page and as JSON."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from datasette.app import Datasette
from datasette.utils.asgi import Request, Response

from ....loaders import Folio
from ....schema import Chip, Pin
from ....schema.chips.lookup import find_condition
from ....schema.errors import Unknown
from ...cards.attached_captures import view_attachments
from ...cards.chip_sheet import MOST_NOTES, ChipSheet, build_chip_sheet, describe_part
from ...drawing.block_diagram import draw_block_diagram
from ...drawing.package_drawing import draw_package
from ...search.marking_lookup import find_chip
from ..page_context import Addresses, ask, from_address, page, respond_json, respond_unknown


async def chip(datasette: Datasette, request: Request) -> Response:
    """Return the sheet of a chip; ``?condition=`` chooses the column of DC voltages."""
    part = from_address(request.url_vars["part"])
    condition = request.args.get("condition")
    wants_json = bool(request.url_vars["format"])
    addresses = Addresses(datasette)

    def sheet(folio: Folio) -> tuple[ChipSheet, str, str, str]:
        found = find_chip(folio, part)
        name = find_condition(found, condition) if condition else None
        notes = folio.notes(found.part, limit=MOST_NOTES)
        made = build_chip_sheet(found, name, notes, folio.proposals(notes))
        if wants_json:
            return made, "", "", ""
        return (
            made,
            *_packages(found, addresses),
            draw_block_diagram(found, _linked(found, addresses)),
        )

    try:
        made, top, solder, blocks = await ask(datasette, sheet)
    except Unknown as unknown:
        return await respond_unknown(datasette, request, unknown, part)
    if wants_json:
        return respond_json(made.document())
    parts = [describe_part(made.chip, at) for at in range(len(made.chip.application.parts))]
    return await page(
        datasette,
        request,
        "chip_sheet.html",
        sheet=made,
        chip=made.chip,
        parts=parts,
        attached=await ask(datasette, lambda folio: view_attachments(folio, made.remarks)),
        top=top,
        solder=solder,
        blocks=blocks,
    )


def _linked(chip: Chip, addresses: Addresses) -> Callable[[Pin], str]:
    """Return the link of each pin in a drawing: its card."""
    return lambda pin: addresses.pin(chip.part, pin.number)


def _packages(chip: Chip, addresses: Addresses, pin: int | None = None) -> tuple[str, str]:
    """Return drawings of both sides of the package, with every pin linked to its card."""
    link = _linked(chip, addresses)
    return (
        draw_package(chip, "top", pin, link),
        draw_package(chip, "solder", pin, link),
    )


ROUTES: Final = [(r"^/chip/(?P<part>[^/]+?)(?P<format>\.json)?$", chip)]
