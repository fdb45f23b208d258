"""Add, take, import, edit, list, search, show, export, propose or withdraw notes.

A note records a reading of a good set, a fault and its remedy, a caution, a correction of the
catalogue, or a remark, on one pin, node, block or part of a chip. No personal data is asked for.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ..command_common import AnswerIsNo, folio_option, json_option, print_json
from ..note_export_command import export_command
from ..note_import_command import import_command
from ..note_options import attachment_options, field_options
from ..note_propose_command import propose_command
from ..note_search_command import search_command
from ..note_take_command import take_command
from ..shop_options import (
    keep_note,
    load_notes,
    on_terminal,
    open_chosen_shop,
    shop_option,
    yes_option,
)

if TYPE_CHECKING:
    from ....loaders.shop.shop_folder import Shop
    from ....schema.note import Note
    from ...notes.note_form import Form


@click.group(help=__doc__)
def command() -> None:
    """Hold the subcommands."""


@command.command("add", short_help="Write a note.")
@click.argument("chip", required=False)
@click.argument("at", required=False)
@click.option(
    "--from", "address", metavar="URL",
    help="Address of a pin's page, which holds chip, pin, readings, condition and instruments.",
)  # fmt: skip
@field_options
@attachment_options
@click.option("--unlisted", is_flag=True, help="Accept a chip that is in no folio yet, as written.")
@yes_option
@shop_option
@folio_option
def add_command(
    chip: str | None,
    at: str | None,
    address: str | None,
    files: tuple[Path, ...],
    captions: tuple[str, ...],
    full_scale: str | None,
    unlisted: bool,
    yes: bool,
    shop_folder: Path | None,
    folio: Path | None,
    **given: str | None,
) -> None:
    """Write a note on CHIP AT a pin, node, block or part; on a terminal, prompt for missing fields.

    \b
      pinfolio note add
      pinfolio note add TQZ5752 17 --kind remark --text "Lift R702 to measure."
      pinfolio note add --from "http://127.0.0.1:8001/chip/TQZ5752/13?dc=3.1V&condition=no+signal"
    """
    from ....loaders.shop.note_files import draw_note_id
    from ...notes.attached_files import list_attachments, prepare_files
    from ...notes.note_form import build_note, choose_usual_instruments, parse_address, sign_form
    from .. import note_input

    shop = open_chosen_shop(shop_folder, to_change=True)
    form = parse_address(address) if address else {}
    form |= _read_form({"chip": chip, "at": at, **given})
    form, known = note_input.ask_place_of_note(form, folio, unlisted)
    form = note_input.normalise_form(form, set(form), known)
    form = note_input.ask_missing(form, known)
    attached = prepare_files(files, captions, full_scale)
    form = choose_usual_instruments(shop, form, bool(files)) | sign_form(shop) | form
    note = build_note(
        form, id=draw_note_id(), shop=shop.handle, attachments=list_attachments(attached)
    )
    path = keep_note(shop, note, [file.data for file in attached], yes, known)
    _report_kept(note, path)


@command.command("edit", short_help="Change a note.")
@click.argument("note_id", metavar="ID")
@click.option("--chip", metavar="PART", help="The chip it is about.")
@click.option("--at", metavar="PLACE", help="The pin, node, block or part it is about.")
@field_options
@attachment_options
@click.option("--detach", multiple=True, metavar="NAME", help="Remove this attached file.")
@click.option(
    "--keep", metavar="DIGEST",
    help="In a conflict: the revision to continue from, by the first letters of its digest.",
)  # fmt: skip
@yes_option
@shop_option
@folio_option
def edit_command(
    note_id: str,
    files: tuple[Path, ...],
    captions: tuple[str, ...],
    full_scale: str | None,
    detach: tuple[str, ...],
    keep: str | None,
    yes: bool,
    shop_folder: Path | None,
    folio: Path | None,
    **given: str | None,
) -> None:
    """Change a note by options or, on a terminal, by prompts; ID may be abbreviated.

    Earlier revisions are kept, here and in shared bundles. An empty text clears a field: --cure "".
    In a conflict the new revision replaces all sides. An edit of another shop's note is a proposal:
    it counts once that shop takes it. --keep takes a proposal, or your own revision to dismiss all;
    before taking the words of a shop that is not trusted you are asked.
    A note file that you changed or wrote in an editor counts once this command has signed it.

    \b
      pinfolio note edit wrvf77 --sets 3 --confidence "several times"
      pinfolio note edit lnvdrl --keep 13038db3
    """
    from ...notes.attached_files import list_attachments, load_kept_attachments, prepare_files
    from ...notes.note_edit import build_edit
    from ...notes.revisions import choose_base_revision, find_note
    from .. import note_input

    shop = open_chosen_shop(shop_folder, to_change=True)
    changes = _read_form(given)
    has_signed = _sign_hand_edit(shop, note_id, yes)
    if has_signed and not (changes or files or detach or keep):
        return
    stored = find_note(load_notes(shop), note_id)
    before = choose_base_revision(stored, shop.handle, keep)
    if stored.is_by(shop.handle):
        _confirm_uncompared(before, yes)
    asks = not (changes or files or detach or keep) and on_terminal()
    form, known = note_input.revise_form(before, changes, folio, asks=asks)
    kept = load_kept_attachments(shop, before, detach)
    attached = kept + prepare_files(files, captions, full_scale)
    note = build_edit(
        stored, before, form, list_attachments(attached), shop, changes, is_choice=bool(keep)
    )
    _report_kept(note, keep_note(shop, note, [file.data for file in attached], yes, known))
    if not stored.is_by(shop.handle):
        _report_proposal(stored.heads[0].shop)


@command.command("withdraw", short_help="Withdraw a note.")
@click.argument("note_id", metavar="ID")
@yes_option
@shop_option
def withdraw_command(note_id: str, yes: bool, shop_folder: Path | None) -> None:
    """Withdraw this shop's part of a note; of a note that this shop began, the whole note.

    The withdrawal travels with the next bundle to every shop that merges it, and is permanent.
    """
    from ....schema.text import visible
    from ...notes.note_documents import summarise_note
    from ...notes.note_form import sign_form
    from ...notes.revisions import build_withdrawal, find_note

    shop = open_chosen_shop(shop_folder, to_change=True)
    kept = find_note(load_notes(shop), note_id)
    signature = sign_form(shop)
    note = build_withdrawal(kept, shop.handle, signature["author"], signature["date"])
    if not yes:
        click.echo(visible(f"{note.chip} {note.at}: {summarise_note(kept)}"), err=True)
        click.confirm("Withdraw it permanently?", abort=True, err=True)
    path = keep_note(shop, note, (), yes)
    _report_kept(note, path)


@command.command("list", short_help="List notes, of a chip or all of them.")
@click.argument("chip", required=False)
@click.argument("at", required=False)
@click.option("--kind", metavar="KIND", help="Only notes of this kind.")
@click.option("--by", metavar="HANDLE", help="Only notes that this shop wrote or edited.")
@click.option("--conflicts", is_flag=True, help="Only notes in conflict.")
@json_option
@shop_option
def list_command(
    chip: str | None,
    at: str | None,
    kind: str | None,
    by: str | None,
    conflicts: bool,
    as_json: bool,
    shop_folder: Path | None,
) -> None:
    """List the shop's own and merged notes by chip and place, newest first.

    \b
      pinfolio note list
      pinfolio note list TQZ5752 17
      pinfolio note list --conflicts
    """
    from ...notes.note_documents import view_note
    from ...notes.note_form import normalise_field
    from ...notes.revisions import collect_notes, filter_notes
    from ..tables.note_tables import print_notes

    shop = open_chosen_shop(shop_folder)
    full_kind = normalise_field("kind", kind, None) if kind else None
    notes = filter_notes(collect_notes(load_notes(shop)), chip, at, full_kind, by, conflicts)
    if as_json:
        print_json({"notes": [view_note(kept).document() for kept in notes]})
    elif notes:
        print_notes(notes)
    else:
        raise AnswerIsNo("There are no such notes here.")


@command.command("show", short_help="Show a note with its earlier revisions.")
@click.argument("note_id", metavar="ID")
@json_option
@shop_option
def show_command(note_id: str, as_json: bool, shop_folder: Path | None) -> None:
    """Show a note in full; in a conflict, every side. ID may be abbreviated."""
    from ...notes.note_documents import describe_note
    from ...notes.revisions import find_note
    from ..tables.note_tables import print_note

    shop = open_chosen_shop(shop_folder)
    kept = find_note(load_notes(shop), note_id)
    if as_json:
        print_json(describe_note(kept))
    else:
        print_note(kept, shop)


command.add_command(take_command)
command.add_command(search_command)
command.add_command(import_command)
command.add_command(export_command)
command.add_command(propose_command)


def _read_form(given: dict[str, str | None]) -> Form:
    """Return the fields that were given; a text ``-`` is read from standard input."""
    form = {name: value for name, value in given.items() if value is not None}
    if form.get("text") == "-":
        with click.open_file("-", encoding="utf-8", errors="replace") as typed:
            form["text"] = typed.read()
    return form


def _sign_hand_edit(shop: Shop, note_id: str, yes: bool) -> bool:
    """Sign a note file that was changed by hand, if there is one and the change is confirmed."""
    from ....loaders.shop.hand_edits import find_hand_edit, sign_hand_edit
    from ....schema.text import visible
    from ...notes.note_view import RevisionView

    edit = find_hand_edit(shop, note_id)
    if edit is None:
        return False
    click.echo(visible(f"{edit.path}: a file that this shop did not sign"), err=True)
    if edit.signed is not None:
        click.echo(visible(f"  Signed    {RevisionView(edit.signed).sentence}"), err=True)
    click.echo(visible(f"  Now       {RevisionView(edit.written).sentence}"), err=True)
    if not yes:
        click.confirm("Sign it as this shop's own words?", abort=True, err=True)
    _report_kept(edit.revision, sign_hand_edit(shop, edit))
    return True


def _confirm_uncompared(note: Note, yes: bool) -> None:
    """Ask before the words of a shop are taken whose key nobody compared."""
    from ....schema.note import UNCOMPARED
    from ....schema.text import visible

    if note.voice == UNCOMPARED and not yes:
        click.echo(visible(f"The key of {note.shop} was not compared by telephone."), err=True)
        click.confirm("Take their words all the same?", abort=True, err=True)


def _report_proposal(author_shop: str) -> None:
    click.echo(f"A proposal to {author_shop}: the note changes when they take it.", err=True)


def _report_kept(note: Note, path: Path) -> None:
    from ....schema.text import visible

    summary = f"{note.kind}, {note.chip} {note.at}" + (", withdrawn" if note.withdrawn else "")
    click.echo(visible(f"{note.id}: {summary}"))
    click.echo(f"Kept in {visible(str(path))}; build the folio again to see it.", err=True)
