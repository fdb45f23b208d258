"""The next revision of a note that a shop edits."""

from __future__ import annotations

from ...loaders.shop.shop_folder import Shop
from ...schema.note import Attachment, Note
from .note_form import Form, build_note, fill_form, sign_form
from .revisions import NotRevisable, StoredNote


def build_edit(
    stored: StoredNote,
    before: Note,
    form: Form,
    attachments: tuple[Attachment, ...],
    shop: Shop,
    changes: Form,
    *,
    is_choice: bool,
) -> Note:
    """Return the revision that a form makes of the revision ``before``, signed by the shop.

    ``changes`` are the fields that were given; of these, author and date replace the signature.
    ``is_choice`` is true if the shop chose ``before`` among several revisions.

    Raises NotRevisable if nothing is changed, BadForm and BadReading for an invalid form.
    """
    is_same = form == fill_form(before) and attachments == before.attachments
    # An unchanged revision still settles a conflict, and takes or dismisses a proposal.
    settles = len(stored.heads) > 1 or (is_choice and bool(stored.proposals))
    if is_same and not settles:
        raise NotRevisable("Nothing is changed: give the new value, such as --sets 3.")
    own_signature = {name: changes[name] for name in ("author", "date") if name in changes}
    return build_note(
        form | sign_form(shop) | own_signature,
        id=before.id,
        shop=shop.handle,
        attachments=attachments,
        follows=stored.list_followed(shop.handle, is_choice=is_choice),
    )
