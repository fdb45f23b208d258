"""Compare two chips pin by pin: can B replace A?

A and B are part numbers or markings in the folio, or chip files, for example two revisions of one
file. B stands in only if levels, thresholds, impedances, waveform levels and loads were compared
and agree; values that a file does not state are listed. Exit status 0: B fits as it is; 1: it does
not, only with changes, or values are missing.

\b
  pinfolio compare TQZ5752 OGX7342
  pinfolio compare tqz5752.yaml tqz5752-new.yaml
"""

from __future__ import annotations

import os
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from ..command_common import (
    AnswerIsNo,
    BadInput,
    folio_option,
    json_option,
    open_chosen_folio,
    print_json,
)

if TYPE_CHECKING:
    from ....schema import Chip

_SUFFIXES: Final = (".yaml", ".yml")
_MOST_FAULTS: Final = 5


@click.command(help=__doc__)
@click.argument("fitted", metavar="A")
@click.argument("other", metavar="B")
@json_option
@folio_option
def command(fitted: str, other: str, as_json: bool, folio: Path | None) -> None:
    from ...contributing.comparison import compare
    from ..tables.comparison_tables import print_comparison

    made = compare(*_load_chips((fitted, other), folio))
    if as_json:
        print_json(made.document())
    else:
        print_comparison(made)
    if not made.stands_in:
        raise SystemExit(AnswerIsNo.exit_code)


def _load_chips(names: tuple[str, str], folio: Path | None) -> list[Chip]:
    """Return the two chips; the folio is opened only if one of them is no file."""
    from ...search.marking_lookup import find_chip

    with ExitStack() as stack:
        opened = None
        chips = []
        for name in names:
            if _is_file(name):
                chips.append(_load_file(Path(name)))
                continue
            # Two chip files can be compared on a computer that has no folio.
            opened = opened or stack.enter_context(open_chosen_folio(folio))
            chips.append(find_chip(opened, name))
        return chips


def _is_file(name: str) -> bool:
    """Return whether an argument is a file: markings have no folder and no such suffix."""
    separators = [sign for sign in (os.sep, os.altsep) if sign]
    named_so = name.lower().endswith(_SUFFIXES) or any(sign in name for sign in separators)
    return named_so and (Path(name).exists() or name.lower().endswith(_SUFFIXES))


def _load_file(path: Path) -> Chip:
    """Return the chip of a chip file. Raises BadInput with the first of its faults."""
    from ....loaders.chip_files.chip_file import load_chip
    from ....loaders.errors import ChipFileError
    from ....loaders.system.shell_words import quote_word
    from ....schema.text import format_count, visible

    try:
        return load_chip(path)
    except ChipFileError as refused:
        messages = [str(fault) for fault in refused.faults[:_MOST_FAULTS]]
        if more := len(refused.faults) - len(messages):
            count, file = format_count(more, "fault"), quote_word(path)
            messages.append(f"and {count} more: pinfolio lint {file}")
        raise BadInput(visible("\n".join(messages), keep_lines=True)) from None
