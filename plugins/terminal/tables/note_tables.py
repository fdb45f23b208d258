"""Notes as tables."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import click
from rich.box import SIMPLE_HEAD
from rich.table import Column, Table

from ....loaders.shop.note_files import locate_attachment
from ....loaders.shop.shop_folder import Shop
from ....schema.text import visible
from ...notes.note_documents import summarise_note, view_note
from ...notes.note_search import NoteSearchAnswer
from ...notes.note_view import RevisionView
from ...notes.revisions import StoredNote
from ..command_common import open_console

SHORT_ID: Final = 6
SHORT_DIGEST: Final = 8
_LABEL_WIDTH: Final = 13


def print_notes(notes: Iterable[StoredNote]) -> None:
    """Print a row for each note."""
    heads = [
        Column(name, no_wrap=name != "Note") for name in ("Id", "Chip", "Where", "Note", "Date")
    ]
    table = Table(*heads, box=SIMPLE_HEAD, pad_edge=False)
    for kept in notes:
        note = kept.heads[0]
        cells = (note.id[:SHORT_ID], note.chip, note.at, summarise_note(kept), note.date)
        table.add_row(*map(visible, cells))
    open_console().print(table)


def print_found_notes(answer: NoteSearchAnswer) -> None:
    """Print a row for each note of one page of a search, and how to turn the page."""
    heads = [Column(name, no_wrap=name != "Note") for name in ("Chip", "Where", "Note", "Date")]
    table = Table(*heads, box=SIMPLE_HEAD, pad_edge=False)
    for view in answer.notes:
        note = view.note
        table.add_row(*map(visible, (note.chip, note.at, view.revisions[0].sentence, note.date)))
    open_console().print(table)
    if answer.pages > 1:
        following = f"; the next: --page {answer.page + 1}" if answer.page < answer.pages else ""
        click.echo(f"{answer.total} notes, page {answer.page} of {answer.pages}{following}")


def print_note(kept: StoredNote, shop: Shop) -> None:
    """Print a note in full; in a conflict every side, and the command that chooses one."""
    shown = view_note(kept)
    note = shown.note
    click.echo(visible(f"{note.kind}: {note.chip} {note.at} ({note.id})"))
    for revision in shown.revisions:
        if shown.in_conflict:
            click.echo(f"\nRevision {revision.note.digest[:SHORT_DIGEST]}")
        _print_revision(revision, shop)
    if shown.in_conflict:
        click.echo(f"\nIn conflict. Choose: pinfolio note edit {note.id[:SHORT_ID]} --keep DIGEST")
    for proposal in shown.proposals:
        digest = proposal.note.digest[:SHORT_DIGEST]
        click.echo()
        click.echo(visible(f"Proposed by {proposal.note.shop}, not by {note.shop}: {digest}"))
        if proposal.reserve:
            trust = f"pinfolio shops trust {proposal.note.shop}"
            click.echo(visible(f"{proposal.reserve} Compare it by telephone, then: {trust}"))
        _print_revision(proposal, shop)
        # Only the shop that wrote a note decides on edits that others propose.
        if kept.is_by(shop.handle):
            take = f"pinfolio note edit {note.id[:SHORT_ID]} --keep {digest}"
            dismiss = f"--keep {note.digest[:SHORT_DIGEST]}"
            click.echo(f"Take it: {take}; dismiss it: {dismiss}")
    revision_count = len(kept.revisions)
    if revision_count > 1:
        click.echo(f"\n{revision_count} revisions in all; --json names them.")


def _print_revision(revision: RevisionView, shop: Shop) -> None:
    """Print one revision: who wrote it, its fields, and where its attachments are."""
    note = revision.note
    if note.withdrawn:
        click.echo(visible(f"Withdrawn by {note.shop}, {note.date}"))
        return
    click.echo(visible(f"{revision.provenance}; written by {note.author}"))
    fields = [("Taken in", revision.circumstances), *revision.lines, ("Text", note.text or "")]
    continuation = "\n" + " " * (_LABEL_WIDTH + 1)
    for label, value in fields:
        if value:
            text = visible(value, keep_lines=True).replace("\n", continuation)
            click.echo(f"{label:<{_LABEL_WIDTH}} {text}")
    for attachment in note.attachments:
        path = locate_attachment(shop, note, attachment)
        named = f"{attachment.name}: {attachment.caption or ''}"
        click.echo(visible(f"{'Attached':<{_LABEL_WIDTH}} {named}"))
        click.echo(visible(f"{'':<{_LABEL_WIDTH}} {path}"))
