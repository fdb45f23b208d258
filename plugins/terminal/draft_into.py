"""The terminal's part of ``pinfolio draft --into``: values side by side, and a choice for each."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from ...loaders.system.shell_words import quote_word
from ...schema.text import format_count, visible
from .command_common import AnswerIsNo, BadInput, open_console

if TYPE_CHECKING:
    from ..contributing.draft_into_chip import Merge, SideBySide
    from ..contributing.drafting import Drafted

_ANSWERS: Final = ("k", "t", "q")


def draft_into(drafted: Drafted, file: Path, keep: bool) -> None:
    """Put the values of a drafted table into a chip file, asking where the two differ.

    Without a terminal to ask, conflicts are listed, nothing is written, and the exit status is 1;
    with ``keep`` every conflict keeps the chip file's value.
    """
    from ...loaders.errors import ChipFileError
    from ...loaders.system.atomic_write import write_atomically
    from ..contributing.draft_into_chip import CannotDraftInto, apply_values, compare_with_chip

    data = _read(file)
    try:
        merge = compare_with_chip(data, str(file), drafted.table, drafted.origin)
        _print_values(merge)
        taken = _choose(merge, keep)
        text, broken = apply_values(merge, [*merge.select_values("new"), *taken])
    except (ChipFileError, CannotDraftInto) as refused:
        raise BadInput(visible(str(refused), keep_lines=True)) from None
    for value in broken:
        place = f"pin {value.pin}: " if value.pin else ""
        shown = f"left out: {place}{value.name} {value.in_table}: {value.reason}"
        click.echo(visible(shown), err=True)
    shown_file = visible(str(file))
    if text == merge.text:
        click.echo(f"{shown_file}: nothing new, nothing written")
        return
    if file.read_bytes() != data:
        raise BadInput(f"{shown_file}: changed while you were asked; run the command again")
    write_atomically(file, _add_mark(data, text))
    new = len(merge.select_values("new")) + len(taken) - len(broken)
    kept = len(merge.select_values("conflict")) - len(taken)
    counts = f"{format_count(new, 'value')} taken in, {kept} of the file kept against the table"
    click.echo(f"{shown_file}: {counts}; next: pinfolio lint {quote_word(file)}")


def _read(file: Path) -> bytes:
    from ...loaders.chip_files.chip_file import read_chip_bytes
    from ...loaders.errors import ChipFileError

    try:
        return read_chip_bytes(file)
    except ChipFileError as refused:
        raise BadInput(visible(str(refused))) from None


def _add_mark(data: bytes, text: str) -> bytes:
    """Return the text with the byte order mark that the file had."""
    mark = b"\xef\xbb\xbf"
    return (mark if data.startswith(mark) else b"") + text.encode()


def _print_values(merge: Merge) -> None:
    """Print new and differing values side by side, and count the equal ones."""
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1), pad_edge=False)
    for heading in ("Pin", "Value", "Chip file", "Table", ""):
        table.add_column(heading)
    for value in merge.values:
        if value.outcome in ("new", "conflict"):
            mark = "differs" if value.outcome == "conflict" else "new"
            row = (str(value.pin or ""), value.name, value.in_chip or "-", value.in_table, mark)
            table.add_row(*map(visible, row))
    if table.row_count:
        open_console().print(table)
    click.echo(f"{format_count(len(merge.select_values('same')), 'value')} alike in both")


def _choose(merge: Merge, keep: bool) -> list[SideBySide]:
    """Return the conflicts for which the table's value is taken; raises AnswerIsNo unasked."""
    conflicts = merge.select_values("conflict")
    if keep or not conflicts:
        return []
    if not _can_ask():
        raise AnswerIsNo(
            f"nothing written: file and table differ in {format_count(len(conflicts), 'value')}"
            "; run it in a terminal to be asked, or keep those of the file with --keep"
        )
    return [value for value in conflicts if _ask(value) == "t"]


def _can_ask() -> bool:
    return sys.stdin.isatty()


def _ask(value: SideBySide) -> str:
    """Return k or t for one conflict; q ends the command with nothing written."""
    place = f"pin {value.pin} " if value.pin else ""
    click.echo(
        visible(f"{place}{value.name}: {value.in_chip} in the file, {value.in_table} in the table")
    )
    answer = click.prompt(
        "  k keep, t take the table's, q quit", type=click.Choice(_ANSWERS), default="k",
        show_choices=False,
    )  # fmt: skip
    if answer == "q":
        raise AnswerIsNo("nothing written")
    return str(answer)
