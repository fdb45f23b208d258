"""Look up a chip by its marking, or a pin by its function.

The marking may be whole, partial or damaged: type ? for a character that cannot be read. Words
describe a chip, a pin or a stage, and may follow a marking. Words in double quotes are a phrase.

\b
  pinfolio find 5752
  pinfolio find burst key
  pinfolio find TQZ5752 sync input
  pinfolio find '"burst key"'
  pinfolio find "Q?57" --package SDIP-52
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

import click

from ..command_common import (
    AnswerIsNo,
    folio_option,
    json_option,
    open_chosen_folio,
    print_json,
)

_MOST_ROWS: Final = 20
# A marking is one word with letters and figures, all of them read: common practice.
_MARKING: Final = re.compile(r"(?=.*[A-Za-z])(?=.*[0-9])[A-Za-z0-9-]{4,20}")


@click.command(help=__doc__)
@click.argument("text", nargs=-1, required=True)
@click.option(
    "--limit",
    type=click.IntRange(1, 500),
    default=_MOST_ROWS,
    show_default=True,
    help="Longest list of chips, and of pins.",
)
@click.option("--kind", metavar="KIND", help="Only chips of this kind, such as 'jungle'.")
@click.option("--package", metavar="NAME", help="Only chips in this package: SDIP-52, or SDIP.")
@click.option("--system", metavar="NAME", help="Only chips for this system, such as PAL-B/G.")
@click.option("--role", metavar="ROLE", help="Only pins of this role, such as 'output'.")
@click.option("--pins", type=click.IntRange(1), help="Only chips with this number of pins.")
@click.option(
    "--supply", metavar="PIN", type=click.IntRange(1), help="Only chips with a supply at this pin."
)
@json_option
@folio_option
def command(
    text: tuple[str, ...],
    limit: int,
    kind: str | None,
    package: str | None,
    system: str | None,
    role: str | None,
    pins: int | None,
    supply: int | None,
    as_json: bool,
    folio: Path | None,
) -> None:
    """Print the chips, pins and stages found. Raises AnswerIsNo if there are none."""
    from ....loaders.folio.chip_search import Only
    from ...search.find import find

    question = " ".join(text)
    with open_chosen_folio(folio) as opened:
        answer = find(opened, question, limit, Only(kind, package, system, role, pins, supply))
        if as_json:
            print_json(answer.document())
        elif answer:
            from ..tables.find_tables import print_answer

            print_answer(answer)
    # In JSON an empty answer is printed as well, and the exit status still tells of it.
    if not answer:
        nearest = f"; nearest parts: {', '.join(answer.nearest)}" if answer.nearest else ""
        raise AnswerIsNo(f"nothing found for {question!r}{nearest}{_offer_new_chip(question)}")


def _offer_new_chip(question: str) -> str:
    """Return the command that begins a chip of this marking; empty for words."""
    from ....loaders.chip_files.part_name import PartError, check_part
    from ....loaders.system.shell_words import quote_word

    if not _MARKING.fullmatch(question):
        return ""
    try:
        part = quote_word(check_part(question.upper()))
    except PartError:
        return ""
    return f". Not in the folio yet? Begin it at the bench: pinfolio new {part} --measure"
