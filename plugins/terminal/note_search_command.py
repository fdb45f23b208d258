"""``pinfolio note search``: notes by their words, page by page, and cases like a symptom."""

from __future__ import annotations

from pathlib import Path

import click

from .command_common import AnswerIsNo, folio_option, json_option, open_chosen_folio, print_json


@click.command("search", short_help="Find notes in the folio by their words.")
@click.argument("words", nargs=-1, metavar="[WORDS]...")
@click.option("--page", type=click.IntRange(1), default=1, show_default=True, help="Page of fifty.")
@json_option
@folio_option
def search_command(words: tuple[str, ...], page: int, as_json: bool, folio: Path | None) -> None:
    """Find the notes of a folio that contain all WORDS, or words of the same meaning.

    Symptom, part, remedy and text are searched, best match first; without WORDS the newest notes
    are listed.

    \b
      pinfolio note search no colour
      pinfolio note search rolls --page 2
    """
    from ..notes.note_search import find_notes
    from .tables.note_tables import print_found_notes

    with open_chosen_folio(folio) as opened:
        answer = find_notes(opened, " ".join(words), page=page)
    if as_json:
        print_json(answer.document())
    elif answer.notes:
        print_found_notes(answer)
    else:
        raise AnswerIsNo("No note says all of this; try fewer words.")
