"""``pinfolio note``: write down what the bench taught, change it, read it, take it back."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

from ..command_common import AnswerIsNo, answering, folio_option, json_option, print_json
from ..instrument_choice import instrument_options
from ..shop_options import asked_shop, keep_note, on_terminal, shop_option, yes_option

if TYPE_CHECKING:
    from ....schema.note import Note
    from ...notes.note_form import Form

Command = TypeVar("Command", bound=Callable[..., Any])

_FIELDS: Final = {
    "kind": (
        "KIND",
        "known-good reading, fault and remedy, caution, correction or remark; or how one begins.",
    ),
    "condition": ("NAME", "State of the set, one of the chip's conditions."),
    "dc": ("V", "DC voltage read: 3.1V."),
    "vpp": ("V", "Peak-to-peak voltage read: 0.98Vpp."),
    "freq": ("HZ", "Frequency read: 15.62kHz."),
    "ohms": ("OHM", "Resistance to ground, set off: 12kohm."),
    "seen": ("WORDS", "Seen without a figure: unstable, distorted, missing, clipped, hum."),
    "chassis": ("TYPE", "Type of the chassis, never its serial number."),
    "sets": ("N", "In how many sets it was seen; else one."),
    "confidence": ("WORD", "How often it was seen so: once, several times, always."),
    "symptom": ("TEXT", "What the set did, in the trade's words."),
    "part": ("REF", "Part that had failed, such as C712."),
    "failure": ("TEXT", "How it had failed."),
    "cure": ("TEXT", "What cured it."),
    "after": ("READINGS", "Read after the repair: 'dc=3.1V vpp=1Vpp'."),
    "text": ("TEXT", "Anything else, in Markdown; - takes it from standard input."),
    "author": ("HANDLE", "Who writes it; else the shop's author, else the shop."),
    "date": ("DAY", "Day it was seen, such as 2026-11-25; else today."),
}


def field_options(command: Command) -> Command:
    """Give a command an option for everything that a note may say."""
    command = instrument_options(command)
    for name, (metavar, helped) in reversed(_FIELDS.items()):
        command = click.option(f"--{name}", metavar=metavar, help=helped)(command)
    return command


def attachment_options(command: Command) -> Command:
    """Give a command ``--attach`` and ``--caption``."""
    command = click.option(
        "--caption", "captions", multiple=True, metavar="TEXT",
        help="What an attached file shows; once for each --attach, in the same order.",
    )(command)  # fmt: skip
    return click.option(
        "--attach", "files", multiple=True, metavar="FILE",
        type=click.Path(path_type=Path, dir_okay=False),
        help="A capture (.csv) or a picture (.png, .jpg); what a camera wrote beside is left out."
        " May be given again.",
    )(command)  # fmt: skip


@click.group("note", short_help="Notes of the shop: add, edit, list, show, withdraw.")
def note_group() -> None:
    """Keep what the bench taught: readings of good sets, faults and what cured them, cautions,
    corrections of the catalogue, remarks.

    Each note hangs on a chip and a pin, node, block or part of it. No personal data is asked for.
    """


@note_group.command("add", short_help="Write a note.")
@click.argument("chip", required=False)
@click.argument("at", required=False)
@click.option(
    "--from", "address", metavar="URL",
    help="Address of a pin's page: chip, pin, readings, condition and instruments are in it.",
)  # fmt: skip
@field_options
@attachment_options
@click.option("--unlisted", is_flag=True, help="The chip is in no folio yet: keep it as written.")
@yes_option
@shop_option
@folio_option
def add_command(
    chip: str | None,
    at: str | None,
    address: str | None,
    files: tuple[Path, ...],
    captions: tuple[str, ...],
    unlisted: bool,
    yes: bool,
    shop_folder: Path | None,
    folio: Path | None,
    **given: str | None,
) -> None:
    """Write a note on CHIP AT a pin, node, block or part. On a terminal, what it needs is asked.

    \b
      pinfolio note add
      pinfolio note add TQZ5752 17 --kind remark --text "Lift R702 to measure."
      pinfolio note add --from "http://127.0.0.1:8001/chip/TQZ5752/13?dc=3.1V&condition=no+signal"
    """
    from ....loaders.shop.note_files import new_id
    from ...notes.note_form import build_note, parse_address
    from .. import note_input as filling

    with asked_shop(shop_folder) as shop, answering():
        form = parse_address(address) if address else {}
        form |= _said({"chip": chip, "at": at, **given})
        form, known = filling.placed(form, folio, unlisted)
        form = filling.checked(form, set(form), known)
        form = filling.completed(form, known)
        attached = filling.prepared(files, captions)
        form = filling.ordinary(shop, form, bool(files)) | filling.signed(shop) | form
        fields: dict[str, Any] = {
            "id": new_id(),
            "shop": shop.handle,
            "attachments": filling.named(attached),
        }
        note = build_note(form, **fields)
        path = keep_note(shop, note, [one.data for one in attached], yes)
    _say_kept(note, path)


@note_group.command("edit", short_help="Change a note.")
@click.argument("note_id", metavar="ID")
@click.option("--chip", metavar="PART", help="The chip it hangs on.")
@click.option("--at", metavar="PLACE", help="The pin, node, block or part it hangs on.")
@field_options
@attachment_options
@click.option("--detach", multiple=True, metavar="NAME", help="Leave this attached file out.")
@click.option(
    "--keep", metavar="DIGEST",
    help="In a conflict: the revision to go on from, by the first letters of its digest.",
)  # fmt: skip
@yes_option
@shop_option
@folio_option
def edit_command(
    note_id: str,
    files: tuple[Path, ...],
    captions: tuple[str, ...],
    detach: tuple[str, ...],
    keep: str | None,
    yes: bool,
    shop_folder: Path | None,
    folio: Path | None,
    **given: str | None,
) -> None:
    """Change what a note says, by options or, on a terminal, by answering; ID may be cut short.

    The revision before is kept, in the shop and in what was shared. An empty text takes back what
    was said: --cure "". In a conflict the new revision stands for all of them.

    \b
      pinfolio note edit wrvf77 --sets 3 --confidence "several times"
      pinfolio note edit lnvdrl --keep 13038db3
    """
    from ....loaders.shop.note_files import all_notes
    from ...notes.note_form import build_note, fill_form
    from ...notes.revisions import choose_base_revision, find_note
    from .. import note_input as filling

    with asked_shop(shop_folder) as shop, answering():
        kept = find_note(all_notes(shop), note_id)
        before = choose_base_revision(kept, shop.handle, keep)
        changes = _said(given)
        form = fill_form(before) | changes
        known = filling.chip_of(folio, form["chip"], unlisted=True)
        form = filling.checked(form, filling.to_check(form, changes), known)
        if not (changes or files or detach or keep) and on_terminal():
            form = filling.asked_again(form, known)
        attached = filling.still_attached(shop, before, detach)
        attached += filling.prepared(files, captions)
        same = form == fill_form(before) and filling.named(attached) == before.attachments
        if same and len(kept.heads) == 1:
            raise AnswerIsNo("Nothing is changed: say what is to be, such as --sets 3.")
        own = {name: changes[name] for name in ("author", "date") if name in changes}
        fields: dict[str, Any] = {
            "id": before.id,
            "shop": shop.handle,
            "attachments": filling.named(attached),
        }
        note = build_note(form | filling.signed(shop) | own, **fields, follows=kept.follows)
        path = keep_note(shop, note, [one.data for one in attached], yes)
    _say_kept(note, path)


@note_group.command("withdraw", short_help="Take a note back, for good.")
@click.argument("note_id", metavar="ID")
@yes_option
@shop_option
def withdraw_command(note_id: str, yes: bool, shop_folder: Path | None) -> None:
    """Take back all that this shop wrote in a note; when it began the note, the whole of it.

    Wherever the next bundle is merged, the note is taken back as well, and stays so.
    """
    from ....loaders.shop.note_files import all_notes
    from ....schema.text import visible
    from ...notes.revisions import build_withdrawal, find_note
    from .. import note_input as filling
    from ..tables.note_tables import in_a_line

    with asked_shop(shop_folder) as shop, answering():
        kept = find_note(all_notes(shop), note_id)
        signed = filling.signed(shop)
        note = build_withdrawal(kept, shop.handle, signed["author"], signed["date"])
        if not yes:
            click.echo(visible(f"{note.chip} {note.at}: {in_a_line(kept)}"), err=True)
            click.confirm("Take it back for good?", abort=True, err=True)
        path = keep_note(shop, note, (), yes)
    _say_kept(note, path)


@note_group.command("list", short_help="The notes here, on a chip or all of them.")
@click.argument("chip", required=False)
@click.argument("at", required=False)
@click.option("--kind", metavar="KIND", help="Only notes of this kind.")
@click.option("--by", metavar="HANDLE", help="Only notes this shop had a hand in.")
@click.option("--conflicts", is_flag=True, help="Only notes with a conflict to be settled.")
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
    """List the shop's notes and those it took in, by chip and place, the newest first.

    \b
      pinfolio note list
      pinfolio note list TQZ5752 17
      pinfolio note list --conflicts
    """
    from ....loaders.shop.note_files import all_notes
    from ...notes.note_form import normalise_field
    from ...notes.revisions import collect_notes, filter_notes
    from ..tables.note_tables import as_shown, print_notes

    with asked_shop(shop_folder) as shop, answering():
        sort = normalise_field("kind", kind, None) if kind else None
        notes = filter_notes(collect_notes(all_notes(shop)), chip, at, sort, by, conflicts)
    if as_json:
        print_json({"notes": [as_shown(kept).document() for kept in notes]})
    elif notes:
        print_notes(notes)
    else:
        raise AnswerIsNo("There are no such notes here.")


@note_group.command("show", short_help="A note in full, with what it was before.")
@click.argument("note_id", metavar="ID")
@json_option
@shop_option
def show_command(note_id: str, as_json: bool, shop_folder: Path | None) -> None:
    """Show all of a note; in a conflict, what each side says. ID may be cut short."""
    from ....loaders.shop.note_files import all_notes
    from ...notes.revisions import find_note
    from ..tables.note_tables import note_document, print_note

    with asked_shop(shop_folder) as shop, answering():
        kept = find_note(all_notes(shop), note_id)
    if as_json:
        print_json(note_document(kept))
    else:
        print_note(kept, shop)


def _said(given: dict[str, str | None]) -> Form:
    """What was given; a text ``-`` is read from standard input."""
    form = {name: value for name, value in given.items() if value is not None}
    if form.get("text") == "-":
        with click.open_file("-", encoding="utf-8", errors="replace") as typed:
            form["text"] = typed.read()
    return form


def _say_kept(note: Note, path: Path) -> None:
    from ....schema.text import visible

    what = f"{note.kind}, {note.chip} {note.at}" + (", withdrawn" if note.withdrawn else "")
    click.echo(visible(f"{note.id}: {what}"))
    click.echo(f"Kept in {visible(str(path))}; build the folio again to see it.", err=True)
