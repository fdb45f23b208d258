"""Filling in a note's form: what was given held against the chip, the rest asked or ordinary."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from pathlib import Path
from typing import Final

from ...loaders import UnknownPart
from ...loaders.shop.attachments import Prepared, prepare_file
from ...loaders.shop.note_files import attachment_path
from ...loaders.shop.shop_folder import Shop, ShopError
from ...schema import Chip
from ...schema.note import Attachment, Note
from ..notes.note_form import INSTRUMENTS, BadForm, Form, normalise_field
from ..search.marking_lookup import find_chip
from .command_common import AnswerIsNo, asked_folio
from .instrument_choice import chosen
from .note_prompts import ask_chip, ask_kind, ask_place, ask_rest, is_whole
from .shop_options import on_terminal

_BY_METER: Final = ("dc", "ohms")
_BY_SCOPE: Final = ("vpp", "freq", "seen")


def placed(form: Form, folio: Path | None, unlisted: bool) -> tuple[Form, Chip | None]:
    """The form with its chip and place, asked for where they are missing; and the chip.

    Raises BadForm where there is nobody to ask.
    """
    filled = dict(form)
    if not filled.get("chip") and on_terminal():
        filled["chip"] = ask_chip()
    _check_there(filled, "chip", "such as TQZ5752")
    chip = chip_of(folio, filled["chip"], unlisted)
    if chip is not None:
        filled["chip"] = chip.part
    if not filled.get("at") and on_terminal():
        filled["at"] = ask_place(chip)
    _check_there(filled, "place", "such as 17 or C712", "at")
    return filled, chip


def chip_of(folio: Path | None, part: str, unlisted: bool) -> Chip | None:
    """The chip with this marking; None when it is in no folio and may be so."""
    with asked_folio(folio) as opened:
        try:
            return find_chip(opened, part)
        except UnknownPart as unknown:
            if unlisted:
                return None
            hint = "a chip that is in no folio yet is taken with --unlisted"
            raise AnswerIsNo(f"{unknown}; {hint}") from None


def checked(form: Form, names: Iterable[str], chip: Chip | None) -> Form:
    """The form with what stands under these names spelt as notes spell it."""
    given = set(names)
    found = {name: normalise_field(name, form[name], chip) for name in form if name in given}
    tools = {name: form[name] for name in INSTRUMENTS if name in given and form[name]}
    known = chosen(*(tools.get(name) for name in INSTRUMENTS))
    if known is not None:
        found |= {name: getattr(known, name).name for name in tools}
    return form | found


def to_check(form: Form, changes: Form) -> set[str]:
    """What of a form is to be checked after changes: on another chip also place and condition."""
    moved = {"at", "condition"} & form.keys() if "chip" in changes else set()
    return changes.keys() | moved


def completed(form: Form, chip: Chip | None) -> Form:
    """On a terminal, the form with all asked that is not said, unless it is whole already."""
    if not on_terminal() or is_whole(form):
        return form
    filled = form if form.get("kind") else form | {"kind": ask_kind()}
    return ask_rest(filled, chip)


def asked_again(form: Form, chip: Chip | None) -> Form:
    """The form with every answer asked again, offering what it says."""
    asked = ask_rest(form, chip, again=True)
    return {name: text for name, text in asked.items() if text or name in form}


def ordinary(shop: Shop, form: Form, has_files: bool) -> Form:
    """The shop's ordinary instruments, those that such readings are taken with."""
    by_meter = any(form.get(name) for name in _BY_METER)
    by_scope = has_files or any(form.get(name) for name in _BY_SCOPE)
    used = {"meter": by_meter, "probe": by_scope, "scope": by_scope}
    return {name: tool for name in INSTRUMENTS if used[name] and (tool := getattr(shop, name))}


def signed(shop: Shop) -> Form:
    """Who writes in this shop, and today."""
    return {"author": shop.author or shop.handle, "date": date.today().isoformat()}


def prepared(files: Sequence[Path], captions: Sequence[str]) -> list[Prepared]:
    """Files to be attached, each with its caption; raises AttachmentError, BadForm."""
    if captions and len(captions) != len(files):
        found = f"found {len(captions)} captions for {len(files)} files"
        raise BadForm(f"{found}, expected one for each --attach, or none")
    said = captions or [""] * len(files)
    return [prepare_file(path, text or None) for path, text in zip(files, said, strict=True)]


def still_attached(shop: Shop, note: Note, detached: Sequence[str]) -> list[Prepared]:
    """What stays attached to a revision, with its bytes; raises BadForm, ShopError."""
    names = [attachment.name for attachment in note.attachments]
    for name in detached:
        if name not in names:
            there = ", ".join(names) or "nothing"
            raise BadForm(f"detach: found {name!r}, attached is {there}")
    try:
        return [
            Prepared(attachment, attachment_path(shop, note, attachment).read_bytes())
            for attachment in note.attachments
            if attachment.name not in detached
        ]
    except OSError as refused:
        raise ShopError(f"{refused.filename}: {refused.strerror}") from None


def named(attached: Iterable[Prepared]) -> tuple[Attachment, ...]:
    """Attachments as a note names them."""
    return tuple(one.attachment for one in attached)


def _check_there(form: Form, what: str, example: str, name: str = "") -> None:
    if not form.get(name or what):
        raise BadForm(f"found no {what}, expected one, {example}")
