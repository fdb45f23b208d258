"""The files attached to a note: new ones prepared, earlier ones kept or detached."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from ...loaders.shop.attachments import PreparedAttachment, prepare_attached_file
from ...loaders.shop.note_files import locate_attachment
from ...loaders.shop.shop_folder import Shop, ShopError
from ...schema.note import Attachment, Note
from ...schema.quantities import parse_quantity
from .note_form import BadForm


def prepare_files(
    files: Sequence[Path], captions: Sequence[str], full_scale: str | None = None
) -> list[PreparedAttachment]:
    """Return files ready to be attached, each with its caption.

    ``full_scale`` is the voltage of full scale in sound files, in words. Raises AttachmentError,
    BadForm, QuantityError.
    """
    if captions and len(captions) != len(files):
        raise BadForm(
            f"{len(captions)} captions do not match {len(files)}"
            " attached files; give one --caption for each --attach, or none"
        )
    full_scale_v = parse_quantity(full_scale, "V").nominal if full_scale else None
    texts = captions or [""] * len(files)
    return [
        prepare_attached_file(path, text or None, full_scale_v)
        for path, text in zip(files, texts, strict=True)
    ]


def load_kept_attachments(
    shop: Shop, note: Note, detached: Sequence[str]
) -> list[PreparedAttachment]:
    """Return the attachments that are not detached, with their bytes. Raises BadForm, ShopError."""
    attached_names = [attachment.name for attachment in note.attachments]
    for name in detached:
        if name not in attached_names:
            listed = ", ".join(attached_names) or "nothing"
            raise BadForm(f"{name!r} cannot be detached; attached is {listed}")
    kept = [attachment for attachment in note.attachments if attachment.name not in detached]
    try:
        return [
            PreparedAttachment(attachment, locate_attachment(shop, note, attachment).read_bytes())
            for attachment in kept
        ]
    except OSError as refused:
        raise ShopError(f"{refused.filename}: {refused.strerror}") from None


def list_attachments(attached: Iterable[PreparedAttachment]) -> tuple[Attachment, ...]:
    """Return attachments in the form in which a note lists them."""
    return tuple(prepared.attachment for prepared in attached)
