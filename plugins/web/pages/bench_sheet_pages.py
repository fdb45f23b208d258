"""The bench sheet of a chip: pages to print and to write on."""

from __future__ import annotations

from typing import Final

from datasette.app import Datasette
from datasette.utils.asgi import Request, Response

from ....loaders import Folio
from ....schema.chips.lookup import find_condition
from ....schema.errors import Unknown
from ...cards.bench_sheet import BenchSheet, build_bench_sheet
from ...cards.caution_strip import summarise_cautions
from ...cards.chip_sheet import MOST_NOTES
from ...cards.pin_table import order_conditions
from ...drawing.role_glyphs import draw_glyph
from ...search.marking_lookup import find_chip
from ..page_context import ask, from_address, render_page, respond_unknown


async def bench_sheet(datasette: Datasette, request: Request) -> Response:
    """Return the sheet for ``?condition=``, seen from ``?side=top`` or ``solder``."""
    part = from_address(request.url_vars["part"])
    condition = request.args.get("condition")

    def build(folio: Folio) -> BenchSheet:
        chip = find_chip(folio, part)
        name = find_condition(chip, condition) if condition else None
        side: Final = "solder" if request.args.get("side") == "solder" else "top"
        return build_bench_sheet(chip, name, side, folio.notes(chip.part, limit=MOST_NOTES))

    try:
        sheet = await ask(datasette, build)
    except Unknown as unknown:
        return await respond_unknown(datasette, request, unknown, part)
    return await render_page(
        datasette,
        request,
        "bench_sheet.html",
        sheet=sheet,
        chip=sheet.chip,
        caution=summarise_cautions(sheet.chip),
        conditions=order_conditions(sheet.chip),
        glyph=draw_glyph,
    )


VIEWS: Final = (bench_sheet,)
