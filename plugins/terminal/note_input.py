"""Fill in the form of a note: check the given fields and prompt for the rest."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from ...loaders import UnknownPart
from ...loaders.shop.note_anchors import follow_anchor, list_places
from ...schema import Chip
from ...schema.note import Note
from ..notes.note_form import (
    INSTRUMENTS,
    BadForm,
    Form,
    fill_form,
    is_complete,
    list_fields_to_check,
    normalise_field,
)
from ..search.marking_lookup import find_chip
from .command_common import AnswerIsNo, open_chosen_folio
from .instrument_choice import choose_instruments
from .note_prompts import ask_chip, ask_kind, ask_place, ask_rest
from .shop_options import on_terminal


def ask_place_of_note(form: Form, folio: Path | None, unlisted: bool) -> tuple[Form, Chip | None]:
    """Return the form with chip and place, prompted for if missing, and the chip.

    Raises BadForm if something is missing and nobody can be asked.
    """
    filled = dict(form)
    if not filled.get("chip") and on_terminal():
        filled["chip"] = ask_chip()
    _check_given(filled, "chip", "such as TQZ5752")
    chip = find_noted_chip(folio, filled["chip"], unlisted)
    # A note keeps the catalogue's spelling of the marking.
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


def follow_place(note: Note, chip: Chip) -> str:
    """Return the place of a note, followed to the pin that it means if that was renumbered.

    Raises BadForm if the chip has no such pin any more.
    """
    followed = follow_anchor(note, list_places(chip))
    if followed is None:
        raise BadForm(
            f"{note.id}: {chip.part} has the place of this note no more; give another with --at"
        )
    return followed.at


def normalise_form(form: Form, names: Iterable[str], chip: Chip | None) -> Form:
    """Return the form with the named fields normalised."""
    given = set(names)
    fields = {name: normalise_field(name, form[name], chip) for name in form if name in given}
    tools = {name: form[name] for name in INSTRUMENTS if name in given and form[name]}
    known = choose_instruments(*(tools.get(name) for name in INSTRUMENTS))
    if known is not None:
        fields |= {name: getattr(known, name).name for name in tools}
    return form | fields


def revise_form(
    before: Note, changes: Form, folio: Path | None, *, asks: bool
) -> tuple[Form, Chip | None]:
    """Return the form of a note with the changes made, and the chip if a folio has it.

    Unless changed, its place follows the pin if that was renumbered. With ``asks``, every field is
    prompted for as well. Raises BadForm.
    """
    form = fill_form(before) | changes
    chip = find_noted_chip(folio, form["chip"], unlisted=True)
    if chip is not None and not {"at", "chip"} & changes.keys():
        form["at"] = follow_place(before, chip)
    form = normalise_form(form, list_fields_to_check(form, changes), chip)
    return (ask_again(form, chip) if asks else form), chip


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


def _check_given(form: Form, noun: str, example: str, name: str = "") -> None:
    if not form.get(name or noun):
        raise BadForm(f"the note has no {noun}; give one, {example}")
