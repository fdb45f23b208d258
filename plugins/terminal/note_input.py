"""Fill in the form of a note: check the given fields, prompt for the rest, add the defaults."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from pathlib import Path
from typing import Final

from ...loaders import UnknownPart
from ...loaders.shop.attachments import PreparedAttachment, prepare_attached_file
from ...loaders.shop.note_files import locate_attachment
from ...loaders.shop.shop_folder import Shop, ShopError
from ...schema import Chip
from ...schema.note import Attachment, Note
from ..notes.note_form import INSTRUMENTS, BadForm, Form, normalise_field
from ..search.marking_lookup import find_chip
from .command_common import AnswerIsNo, open_chosen_folio
from .instrument_choice import choose_instruments
from .note_prompts import ask_chip, ask_kind, ask_place, ask_rest, is_complete
from .shop_options import on_terminal

_BY_METER: Final = ("dc", "ohms")
_BY_SCOPE: Final = ("vpp", "freq", "seen")


def ask_place_of_note(form: Form, folio: Path | None, unlisted: bool) -> tuple[Form, Chip | None]:
    """Return the form with chip and place, prompted for if missing, and the chip.

    Raises BadForm if something is missing and nobody can be asked.
    """
    filled = dict(form)
    if not filled.get("chip") and on_terminal():
        filled["chip"] = ask_chip()
    _check_given(filled, "chip", "such as TQZ5752")
    chip = find_noted_chip(folio, filled["chip"], unlisted)
    if chip is not None:
        filled["chip"] = chip.part
    if not filled.get("at") and on_terminal():
        filled["at"] = ask_place(chip)
    _check_given(filled, "place", "such as 17 or C712", "at")
    return filled, chip


def find_noted_chip(folio: Path | None, part: str, unlisted: bool) -> Chip | None:
    """Return the chip with this marking; None for one in no folio, if ``unlisted`` allows it."""
    with open_chosen_folio(folio) as opened:
        try:
            return find_chip(opened, part)
        except UnknownPart as unknown:
            if unlisted:
                return None
            hint = "a chip that is in no folio yet is taken with --unlisted"
            raise AnswerIsNo(f"{unknown}; {hint}") from None


def normalise_form(form: Form, names: Iterable[str], chip: Chip | None) -> Form:
    """Return the form with the named fields normalised."""
    given = set(names)
    found = {name: normalise_field(name, form[name], chip) for name in form if name in given}
    tools = {name: form[name] for name in INSTRUMENTS if name in given and form[name]}
    known = choose_instruments(*(tools.get(name) for name in INSTRUMENTS))
    if known is not None:
        found |= {name: getattr(known, name).name for name in tools}
    return form | found


def fields_to_check(form: Form, changes: Form) -> set[str]:
    """Return the fields to check after changes; on another chip also place and condition."""
    moved = {"at", "condition"} & form.keys() if "chip" in changes else set()
    return changes.keys() | moved


def ask_missing(form: Form, chip: Chip | None) -> Form:
    """Return the form completed by prompts, on a terminal and unless it is complete already."""
    if not on_terminal() or is_complete(form):
        return form
    filled = form if form.get("kind") else form | {"kind": ask_kind()}
    return ask_rest(filled, chip)


def ask_again(form: Form, chip: Chip | None) -> Form:
    """Return the form after prompting for every field, with its values as defaults."""
    answers = ask_rest(form, chip, again=True)
    return {name: text for name, text in answers.items() if text or name in form}


def usual_instruments(shop: Shop, form: Form, has_files: bool) -> Form:
    """Return the shop's usual instruments, limited to those that take such readings."""
    by_meter = any(form.get(name) for name in _BY_METER)
    by_scope = has_files or any(form.get(name) for name in _BY_SCOPE)
    used = {"meter": by_meter, "probe": by_scope, "scope": by_scope}
    return {name: tool for name in INSTRUMENTS if used[name] and (tool := getattr(shop, name))}


def sign(shop: Shop) -> Form:
    """Return the author of this shop and today's date."""
    return {"author": shop.author or shop.handle, "date": date.today().isoformat()}


def prepare_files(files: Sequence[Path], captions: Sequence[str]) -> list[PreparedAttachment]:
    """Return files ready to be attached, each with its caption. Raises AttachmentError, BadForm."""
    if captions and len(captions) != len(files):
        found = f"found {len(captions)} captions for {len(files)} files"
        raise BadForm(f"{found}, expected one for each --attach, or none")
    texts = captions or [""] * len(files)
    return [
        prepare_attached_file(path, text or None) for path, text in zip(files, texts, strict=True)
    ]


def remaining_attachments(
    shop: Shop, note: Note, detached: Sequence[str]
) -> list[PreparedAttachment]:
    """Return the attachments that stay, with their bytes. Raises BadForm, ShopError."""
    names = [attachment.name for attachment in note.attachments]
    for name in detached:
        if name not in names:
            there = ", ".join(names) or "nothing"
            raise BadForm(f"detach: found {name!r}, attached is {there}")
    try:
        return [
            PreparedAttachment(attachment, locate_attachment(shop, note, attachment).read_bytes())
            for attachment in note.attachments
            if attachment.name not in detached
        ]
    except OSError as refused:
        raise ShopError(f"{refused.filename}: {refused.strerror}") from None


def name_attachments(attached: Iterable[PreparedAttachment]) -> tuple[Attachment, ...]:
    """Return attachments in the form that a note lists them."""
    return tuple(one.attachment for one in attached)


def _check_given(form: Form, noun: str, example: str, name: str = "") -> None:
    if not form.get(name or noun):
        raise BadForm(f"the note has no {noun}; give one, {example}")
