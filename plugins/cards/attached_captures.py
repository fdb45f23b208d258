"""What is attached to notes, for a page: pictures small, captures over what is expected there."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from ...loaders import Folio
from ...loaders.captures.text_capture import CaptureError, read_capture
from ...schema import Chip, print_value
from ...schema.chips.lookup import UnknownCondition, UnknownPin
from ...schema.note import Attachment, Note
from ...schema.reading import Reading
from ...schema.text import part_key
from ..instruments.known_instruments import load_instruments
from ..notes.note_view import NoteView
from ..readings.capture_check import CaptureCheck, check_capture
from ..readings.checks import NoExpectation, find_test_point

MOST_DRAWN: Final = 8
"""Captures drawn on one page; what is beyond them is linked."""
_LARGEST: Final = (320, 240)  # pixels of the page that a picture takes at most
_MOST_SAMPLED_BYTES: Final = 1_000_000  # of a capture that is drawn while somebody waits


Sizes = dict[str, tuple[int, int] | None]
"""Width and height in pixels of the pictures held, None of the captures, by SHA-256."""


@dataclass(frozen=True)
class AttachmentView:
    """An attachment as a page shows it."""

    attachment: Attachment
    is_held: bool = True
    """False where the folio has only its name."""
    size: tuple[int, int] | None = None
    """Width and height of a picture as it is shown; None for a capture."""
    svg: str | None = None
    """A capture over what is expected; None where nothing is known to expect, and of a picture."""
    remarks: tuple[str, ...] = ()
    """What was measured in a drawn capture, and what its shape says."""

    @property
    def caption(self) -> str:
        """What it shows, in the words of who attached it, else its name."""
        return (self.attachment.caption or self.attachment.name).rstrip(".")


def view_attachments(
    folio: Folio, notes: Iterable[NoteView]
) -> dict[str, tuple[AttachmentView, ...]]:
    """What is attached to these notes, by the digest of the revision."""
    revisions = [each.note for shown in notes for each in shown.revisions if each.note.attachments]
    named = {one.sha256 for note in revisions for one in note.attachments}
    sizes = folio.attachment_sizes(named) if named else {}
    drawing = _CaptureDrawer(folio)
    return {
        note.digest: tuple(_view_attachment(note, one, sizes, drawing) for one in note.attachments)
        for note in revisions
    }


def _view_attachment(
    note: Note, one: Attachment, sizes: Sizes, drawing: _CaptureDrawer
) -> AttachmentView:
    if one.sha256 not in sizes:
        return AttachmentView(one, is_held=False)
    size = sizes[one.sha256]
    return (
        drawing.over_expected(note, one)
        if size is None
        else AttachmentView(one, size=_fit_size(*size))
    )


def _fit_size(width: int, height: int) -> tuple[int, int]:
    scale = min(_LARGEST[0] / width, _LARGEST[1] / height, 1.0)
    return max(1, round(width * scale)), max(1, round(height * scale))


def _describe_figures(found: CaptureCheck) -> str:
    hertz = found.measured.frequency_hz
    figures = [print_value(found.measured.vpp_v, "Vpp"), print_value(hertz, "Hz") if hertz else ""]
    return f"Measured: {', '.join(filter(None, figures))}"


class _CaptureDrawer:
    """Draws the captures of one page, as many as a page may have."""

    def __init__(self, folio: Folio) -> None:
        self._folio = folio
        self._left = MOST_DRAWN
        self._chips: dict[str, Chip | None] = {}

    def over_expected(self, note: Note, attachment: Attachment) -> AttachmentView:
        """A capture over what the note's place should show in the note's condition."""
        chip = self._chip(note.chip)
        held = self._folio.attachment(attachment.sha256) if chip and self._left > 0 else None
        if chip is None or held is None or len(held.data) > _MOST_SAMPLED_BYTES:
            return AttachmentView(attachment)
        try:
            pin = find_test_point(chip, note.at)
            capture = read_capture(held.data, attachment.name)
            chosen = load_instruments().choose()
            found = check_capture(chip, pin, capture, Reading(), chosen, note.condition)
        except (UnknownPin, UnknownCondition, NoExpectation, CaptureError):
            return AttachmentView(attachment)
        self._left -= 1
        where = f"{chip.part} {note.at}, {found.expectation.condition}"
        title = f"{attachment.caption or attachment.name}, over what is expected at {where}"
        svg = found.svg(title, standalone=False)
        remarks = (_describe_figures(found), *found.remarks)
        return AttachmentView(attachment, svg=svg, remarks=remarks)

    def _chip(self, written: str) -> Chip | None:
        """The chip that a note names, if the folio holds just one that is marked so."""
        if written not in self._chips:
            found = self._folio.chips_by_key(part_key(written))
            self._chips[written] = self._folio.chip(found[0].chip.part) if len(found) == 1 else None
        return self._chips[written]
