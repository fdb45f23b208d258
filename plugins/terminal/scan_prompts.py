"""The questions of ``pinfolio draft --review``: one key for each doubtful value of a scan."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from ...loaders.system.shell_words import quote_word
from ...schema.text import format_count, visible
from .command_common import BadInput

if TYPE_CHECKING:
    from ..contributing.drafting import Drafted, Wanted
    from ..contributing.scan_review import ReadValue

_ACCEPT, _OTHER, _TYPE, _BLANK, _END = ("\r", "\n", "y"), "2", "t", ("s", " ", "-"), "q"
_HELP: Final = "Enter takes the text, 2 the second reading, t types it, s leaves a blank, q ends."


def review_scan(drafted: Drafted, wanted: Wanted, out: Path | None) -> Drafted:
    """Return the draft after asking about its doubtful values; write the page with their pictures.

    Without a terminal nothing is asked. Raises BadInput if nothing of the file was scanned.
    """
    from ..contributing.drafting import CannotDraft, redraft
    from ..contributing.scan_review import list_read_values

    if not drafted.scanned:
        raise BadInput("--review is for scans, but all pages have text; leave it out")
    if out is not None:
        _write_page(drafted, out)
    values = list_read_values(drafted, only_doubtful=True)
    if not values or not _can_ask():
        click.echo(f"{format_count(len(values), 'doubtful value')} left blank", err=True)
        return drafted
    corrections = {(value.page, value.box): text for value, text in _ask_all(values)}
    try:
        return redraft(drafted, wanted, corrections) if corrections else drafted
    except CannotDraft as fault:
        raise BadInput(visible(str(fault), keep_lines=True)) from None


def _can_ask() -> bool:
    return sys.stdin.isatty()


def _write_page(drafted: Drafted, out: Path) -> None:
    """Write the page of all read values beside the draft."""
    from ...loaders.system.atomic_write import write_atomically
    from ..contributing.scan_review import list_read_values
    from ..web.scan_page import write_scan_page

    folder = out if out.is_dir() or not out.suffix else out.parent
    page = folder / f"{drafted.file.stem}-scan.html"
    text = write_scan_page(drafted.file.name, list_read_values(drafted))
    try:
        folder.mkdir(parents=True, exist_ok=True)
        write_atomically(page, text)
    except OSError as refused:
        raise BadInput(f"{visible(str(page))}: cannot be written ({refused.strerror})") from None
    click.echo(f"Pictures beside the values: open {quote_word(page)} in a browser", err=True)


def _ask_all(values: Sequence[ReadValue]) -> list[tuple[ReadValue, str]]:
    """Return the values that were accepted or corrected, with their right texts."""
    click.echo(_HELP, err=True)
    answers: list[tuple[ReadValue, str]] = []
    for number, value in enumerate(values, start=1):
        text = _ask(value, number, len(values))
        if text is None:
            break
        if text:
            answers.append((value, text))
    return answers


def _ask(value: ReadValue, number: int, count: int) -> str | None:
    """Return the right text of one value, empty to leave it blank, None to end."""
    other = f", or '{value.other_reading}'" if value.other_reading else ""
    lines = (
        f"{number}/{count} {value.about}",
        f"  {value.place}, {value.confidence_percent} %: {value.doubt}",
        f"  '{value.text}'{other}?",
    )
    click.echo(visible("\n".join(lines), keep_lines=True), err=True)
    while True:
        key = click.getchar()
        if key in _ACCEPT and value.text:
            return value.text
        if key == _OTHER and value.other_reading:
            return value.other_reading
        if key == _TYPE:
            return str(click.prompt("  text", err=True)).strip()
        if key in _BLANK:
            return ""
        if key == _END:
            return None
