"""Attachments of notes for a page: small pictures, and captures over the expected trace."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from ...loaders import Folio
from ...loaders.captures.capture import CaptureError
from ...loaders.captures.capture_file import read_capture
from ...schema.chip import Chip
from ...schema.chips.lookup import UnknownCondition, UnknownPin
from ...schema.note import Attachment, Note
from ...schema.quantities import print_value
from ...schema.reading import Reading
from ...schema.text import part_key
from ..instruments.known_instruments import load_instruments
from ..notes.note_view import NoteView
from ..readings.capture_check import CaptureCheck, check_capture
from ..readings.checks import NoExpectation
from ..readings.pictures.capture_pictures import CapturePictures
from ..readings.places import find_test_point

MOST_DRAWN: Final = 8
"""Captures drawn on one page; further ones are only linked."""
_LARGEST: Final = (320, 240)  # pixels of a picture on the page
_MOST_SAMPLED_BYTES: Final = 1_000_000  # of a capture that is drawn while a page loads

_MOST_KEPT: Final = 256
_KEPT: Final[dict[tuple[str, str, str], AttachmentView]] = {}
"""Drawn captures by digest of the folio, of the note, and of the capture: comparing the shape of
one takes longer than the rest of a page, and it stays the same."""

Sizes = dict[str, tuple[int, int] | None]
"""Width and height in pixels of each stored picture, None for a capture, by SHA-256."""


@dataclass(frozen=True)
class AttachmentView:
    """An attachment as a page shows it."""

    attachment: Attachment
    is_held: bool = True
    """False where the folio holds only the attachment's name."""
    size: tuple[int, int] | None = None
    """Width and height in pixels at which a picture is shown; None for a capture."""
    svg: str | None = None
    """A capture over its expected trace; None for a picture, and without an expectation."""
    more: tuple[str, ...] = ()
    """Further drawings of a capture: colour vectors, where there are any, and spectrum."""
    remarks: tuple[str, ...] = ()
    """Measurements of a drawn capture, and findings about its shape."""

    @property
    def caption(self) -> str:
        """The caption, else the file name."""
        return (self.attachment.caption or self.attachment.name).rstrip(".")


def view_attachments(
    folio: Folio, notes: Iterable[NoteView], *, draws_captures: bool = True
) -> dict[str, tuple[AttachmentView, ...]]:
    """Return the views of the attachments of each revision and proposal, by its digest.

    Without ``draws_captures`` a capture is only linked, with the page that draws it: comparing its
    shape takes longer than the rest of a chip's page.
    """
    revisions = [
        revision.note
        for view in notes
        for revision in (*view.revisions, *view.proposals)
        if revision.note.attachments
    ]
    digests = {attachment.sha256 for note in revisions for attachment in note.attachments}
    sizes = folio.attachment_sizes(digests) if digests else {}
    drawer = _CaptureDrawer(folio) if draws_captures else None
    return {
        note.digest: tuple(
            _view_attachment(note, attachment, sizes, drawer) for attachment in note.attachments
        )
        for note in revisions
    }


def _view_attachment(
    note: Note, attachment: Attachment, sizes: Sizes, drawer: _CaptureDrawer | None
) -> AttachmentView:
    """Return the view of one attachment, of which ``sizes`` says whether it is a picture."""
    if attachment.sha256 not in sizes:
        return AttachmentView(attachment, is_held=False)
    size = sizes[attachment.sha256]
    if size is not None:
        return AttachmentView(attachment, size=_fit_size(*size))
    if drawer is not None:
        return drawer.draw_over_expected(note, attachment)
    drawn_at = f"Drawn over the expected trace on the card of {note.at}"
    return AttachmentView(attachment, remarks=(drawn_at,) if note.at.startswith("pin ") else ())


def _fit_size(width: int, height: int) -> tuple[int, int]:
    """Return the size reduced to the largest allowed, with its proportions."""
    scale = min(_LARGEST[0] / width, _LARGEST[1] / height, 1.0)
    return max(1, round(width * scale)), max(1, round(height * scale))


def _describe_figures(check: CaptureCheck) -> str:
    """Return peak to peak and frequency of a capture in words."""
    hertz = check.measured.frequency_hz
    figures = [print_value(check.measured.vpp_v, "Vpp"), print_value(hertz, "Hz") if hertz else ""]
    return f"Measured: {', '.join(filter(None, figures))}"


class _CaptureDrawer:
    """Draws the captures of one page, up to the number that a page may have."""

    def __init__(self, folio: Folio) -> None:
        self._folio = folio
        self._left = MOST_DRAWN
        self._chips: dict[str, Chip | None] = {}

    def draw_over_expected(self, note: Note, attachment: Attachment) -> AttachmentView:
        """Return a capture over the trace expected at the note's place in its condition.

        A capture that cannot be read or compared is shown without a drawing.
        """
        if self._left <= 0:
            return AttachmentView(attachment)
        cache_key = (self._folio.info.digest, note.digest, attachment.sha256)
        view = _KEPT.get(cache_key) or self._draw(note, attachment)
        if view.svg is not None:
            self._left -= 1
            if len(_KEPT) >= _MOST_KEPT:
                _KEPT.clear()
            _KEPT[cache_key] = view
        return view

    def _draw(self, note: Note, attachment: Attachment) -> AttachmentView:
        """Return the drawings of a capture; only its name where it cannot be read or compared."""
        chip = self._find_chip(note.chip)
        stored = self._folio.attachment(attachment.sha256) if chip is not None else None
        if chip is None or stored is None or len(stored.data) > _MOST_SAMPLED_BYTES:
            return AttachmentView(attachment)
        try:
            pin = find_test_point(chip, note.at)
            capture = read_capture(stored.data, attachment.name)
            # A note's capture shows the pin as it was: no reading of today is judged with it.
            instruments = load_instruments().choose()
            check = check_capture(chip, pin, capture, Reading(), instruments, note.condition)
        except (UnknownPin, UnknownCondition, NoExpectation, CaptureError):
            return AttachmentView(attachment)
        place = f"{chip.part} {note.at}, {check.expectation.condition}"
        title = f"{attachment.caption or attachment.name}, over what is expected at {place}"
        pictures = CapturePictures(check, title)
        further_pictures = (pictures.draw_vectors(), pictures.draw_spectrum())
        return AttachmentView(
            attachment,
            svg=pictures.draw_comparison(standalone=False),
            more=tuple(picture for picture in further_pictures if picture is not None),
            remarks=(_describe_figures(check), *check.remarks),
        )

    def _find_chip(self, written: str) -> Chip | None:
        """Return the chip that a note names, if exactly one in the folio has that marking."""
        if written not in self._chips:
            marked_chips = self._folio.find_chips_by_key(part_key(written))
            self._chips[written] = (
                self._folio.chip(marked_chips[0].chip.part) if len(marked_chips) == 1 else None
            )
        return self._chips[written]
