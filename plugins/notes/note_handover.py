"""A note made on a page that cannot write: the command that adds it, and a small file to take in.

The page's form has the fields of ``note_form``; the shop's name and the author are put in where
the note is kept.
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final, Literal

from ...loaders.shop.new_note_file import format_new_note
from ...schema import Chip
from ...schema.errors import PinfolioError
from ...schema.note import Note
from .note_form import READING_FIELDS, Form, build_note, normalise_field, spell_figure
from .plausibility import list_doubts

Shell = Literal["posix", "windows"]
SHELLS: Final[dict[Shell, str]] = {"posix": "Linux, macOS", "windows": "Windows (PowerShell)"}

_FLAGS: Final = (
    *("kind", "condition", *READING_FIELDS, "chassis", "sets", "confidence"),
    *("symptom", "part", "failure", "proof", "cure", "after", "text", "reason"),
)
# Any valid names will do: they are left out of the file and the command.
_NOBODY: Final = {"id": "a" * 16, "shop": "nobody"}
_PLAIN_POWERSHELL: Final = re.compile(r"[A-Za-z0-9._/:=+-]+")


@dataclass(frozen=True)
class Handover:
    """A note ready to be handed over; without one ``refused`` says why."""

    note: Note | None
    form: Form
    refused: tuple[str, ...] = ()
    """Faults of the form, one sentence for each field."""

    @property
    def file_text(self) -> str:
        """The small file; empty without a note."""
        return "" if self.note is None else format_new_note(self.note)

    @property
    def file_name(self) -> str:
        """Name of the file: part, place and ``note``."""
        place = re.sub(r"[^A-Za-z0-9]+", "-", self.form.get("at", "").removeprefix("pin "))
        part = re.sub(r"[^A-Za-z0-9]+", "-", self.form.get("chip", ""))
        return f"{part.strip('-') or 'chip'}-{place.strip('-') or 'note'}.note.yaml"

    def command(self, shell: Shell, attach: str = "", full_scale: str = "") -> tuple[str, ...]:
        """Return the pieces of the command that adds the note, to be joined by blanks.

        ``attach`` names a file that goes with it, ``full_scale`` is that of a sound file. There are
        none where this shell cannot be given
        it.
        """
        if self.note is None:
            return ()
        words = ["pinfolio", "note", "add", self.form["chip"], self.form["at"]]
        options = [(f"--{name}", self.form[name]) for name in _FLAGS if self.form.get(name)]
        if attach:
            options.append(("--attach", attach))
        if attach and full_scale:
            options.append(("--full-scale", full_scale))
        # Versions of PowerShell differ in how they hand on a double quote.
        if shell == "windows" and any('"' in text for _, text in options):
            return ()
        quote = shlex.quote if shell == "posix" else _quote_powershell
        return (" ".join(map(quote, words)), *(f"{flag} {quote(text)}" for flag, text in options))


def hand_over(form: Mapping[str, str], chip: Chip | None) -> Handover:
    """Return the note that a page's form makes, with places and figures spelt as notes do."""
    filled = {name: text.strip() for name, text in form.items() if text.strip()}
    faults: list[str] = []
    for name, text in filled.items():
        try:
            filled[name] = normalise_field(name, spell_figure(name, text), chip)
        except PinfolioError as refused:
            faults.append(f"{name}: {str(refused).removeprefix(f'{name}: ')}")
    if faults:
        return Handover(None, filled, tuple(faults))
    today = date.today()
    signature = {"author": _NOBODY["shop"], "date": today.isoformat()}
    try:
        note = build_note(filled | signature, **_NOBODY)
    except PinfolioError as refused:
        return Handover(None, filled, tuple(str(refused).splitlines()))
    # Facts that are hardly possible are taken only with a reason.
    doubts = () if note.reason else list_doubts(note, chip, today)
    return Handover(None, filled, doubts) if doubts else Handover(note, filled)


def _quote_powershell(text: str) -> str:
    """Return a text as one argument in PowerShell: nothing within single quotes is special."""
    if _PLAIN_POWERSHELL.fullmatch(text):
        return text
    doubled = text.replace("'", "''")
    return f"'{doubled}'"
