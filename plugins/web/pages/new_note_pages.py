"""Note it: a form that makes, on pages that never write, a command and a small file.

Everything is in the address, nothing is kept here.
"""

from __future__ import annotations

import re
from typing import Final
from urllib.parse import parse_qsl, urlencode

from datasette.app import Datasette
from datasette.utils.asgi import Request, Response

from ....loaders import Folio, UnknownPart
from ....schema import Chip
from ....schema.note import NOTE_KINDS
from ....schema.reading import SEEN
from ....schema.text import visible
from ...notes.note_handover import SHELLS, hand_over
from ...readings.field_units import complete_units
from ...search.marking_lookup import find_chip
from ..page_context import HEADERS, ask, render_page

_FIELDS: Final = (
    *("kind", "chip", "at", "condition", "chassis", "dc", "vpp", "freq", "ohms", "seen"),
    *("symptom", "part", "failure", "proof", "cure", "after"),
    *("sets", "confidence", "text", "reason"),
)
_AFTER: Final = {f"after_{name}": name for name in ("dc", "vpp", "freq")}
"""Fields that take one figure after the repair; together they are the field ``after``."""
_KINDS: Final = {
    "known-good reading": "good set read",
    "fault and remedy": "fault and remedy",
    "caution": "caution",
    "correction": "correction",
    "remark": "remark",
}
_MISSING: Final = re.compile(r"a note of kind '[^']+' needs the field (?P<field>\w+); add it")
_FIELD_WORDS: Final = {
    "symptom": "what the set did",
    "cure": "what cured it",
    "text": "a few words of your own",
    "at": "the pin or the part",
    "chip": "the chip",
    "condition": "the state of the set",
    "readings": "what was read",
}
"""Fields that a kind of note must have, as the form calls them."""
_LONGEST: Final = 4000
_LONGEST_FILE_NAME: Final = 200
_LONGEST_FIGURE: Final = 20
_DEFAULT_KIND: Final = "known-good reading"


async def new_note(datasette: Datasette, request: Request) -> Response:
    """Return the form filled from the address, with command and file once there is enough."""
    form, asked = _read_form(request), bool(request.args.get("make"))
    attach = visible(request.args.get("attach") or "").strip()[:_LONGEST_FILE_NAME]
    full_scale = visible(request.args.get("full_scale") or "").strip()[:_LONGEST_FIGURE]
    chip = await _find_chip(datasette, form.get("chip", ""))
    made = hand_over(form, chip)
    commands = {
        shell: (name, made.command(shell, attach, full_scale)) for shell, name in SHELLS.items()
    }
    query = urlencode(form)
    return await render_page(
        datasette,
        request,
        "new_note.html",
        section="Notes",
        form={**form, "attach": attach, "full_scale": full_scale},
        made=made,
        missing=[_call_missing(fault) for fault in made.refused],
        asked=asked,
        kinds=_KINDS,
        seen_words=SEEN,
        conditions=[condition.name for condition in chip.conditions] if chip is not None else [],
        shells=commands,
        query=query,
        chip=chip,
    )


async def note_file(datasette: Datasette, request: Request) -> Response:
    """Return the small file as a download; status 400 with the reasons for a faulty form."""
    form = _read_form(request)
    made = hand_over(form, await _find_chip(datasette, form.get("chip", "")))
    if made.note is None:
        return Response.text("\n".join(made.refused), status=400, headers=dict(HEADERS))
    named = f'attachment; filename="{made.file_name}"'
    headers = {**HEADERS, "content-disposition": named}
    return Response(made.file_text, headers=headers, content_type="application/yaml; charset=utf-8")


def _read_form(request: Request) -> dict[str, str]:
    """Return the fields of the form that are filled; the last one of a name wins."""
    sent = parse_qsl(request.query_string, keep_blank_values=True)
    # A browser ends the lines of a form's text with CR LF (HTML, "constructing the entry list").
    pairs = complete_units((name, text.replace("\r\n", "\n")) for name, text in sent)
    form = {name: text.strip()[:_LONGEST] for name, text in pairs if name in _FIELDS}
    kind = form.get("kind", "")
    after = [(_AFTER[name], text.strip()) for name, text in pairs if name in _AFTER]
    form.setdefault("after", " ".join(f"{name}={text}" for name, text in after if text))
    filled = {name: text for name, text in form.items() if text}
    return {"kind": kind if kind in NOTE_KINDS else _guess_kind(filled)} | {
        name: text for name, text in filled.items() if name != "kind"
    }


def _guess_kind(form: dict[str, str]) -> str:
    """Return the kind of a note that has not been chosen yet."""
    has_fault = any(form.get(name) for name in ("part", "cure", "symptom", "failure"))
    return "fault and remedy" if has_fault else _DEFAULT_KIND


def _call_missing(fault: str) -> str:
    """Return a fault with the words of the form for a missing field."""
    missing = _MISSING.fullmatch(fault)
    return fault if missing is None else _FIELD_WORDS.get(missing["field"], missing["field"])


async def _find_chip(datasette: Datasette, part: str) -> Chip | None:
    """Return the chip with this marking; None for one that is not in the folio."""

    def look_up(folio: Folio) -> Chip | None:
        try:
            return find_chip(folio, part)
        except UnknownPart:
            return None

    return await ask(datasette, look_up) if part else None


VIEWS: Final = (new_note, note_file)
