"""Shared by the commands: the choice of a folio, exit statuses, JSON and files on request."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from .progress import progress_bar

if TYPE_CHECKING:
    from rich.console import Console

    from ...loaders import Folio

Command = TypeVar("Command", bound=Callable[..., Any])

folio_option = click.option(
    "--folio",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Folio to query; default: PINFOLIO_FOLIO, else your own, else the demonstration.",
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON.")

_PIPE_COLUMNS = 100


class AnswerIsNo(click.ClickException):
    """The question was understood and the answer is no: exit status 1."""

    exit_code = 1


class BadInput(click.ClickException):
    """The input cannot be used: exit status 2."""

    exit_code = 2


@contextmanager
def open_chosen_folio(option: Path | None) -> Iterator[Folio]:
    """Yield the folio that answers a command, open; the demonstration is built when first needed.

    Raises FolioError.
    """
    from ...loaders import open_folio
    from ...loaders.folio.folio_choice import find_folio

    with progress_bar("Building the demonstration folio") as progress:
        path = find_folio(option, progress)
    with open_folio(path) as folio:
        yield folio


def print_json(document: Any) -> None:
    """Print a document as JSON that is readable, and inert on a terminal."""
    import json

    from ...schema.text import visible

    text = json.dumps(document, ensure_ascii=False, indent=2)
    if visible(text, keep_lines=True) != text:
        # Characters that act on a terminal become JSON escapes; the document stays the same.
        escaped = (
            sign if sign == "\n" or visible(sign) == sign else json.dumps(sign).strip('"')
            for sign in text
        )
        text = "".join(escaped)
    click.echo(text)


_START_BYTES = 1_000


def read_input(path: Path, most_bytes: int) -> bytes:
    """Return the bytes of a file that an option named; raises BadInput."""
    from ...loaders.system.regular_files import read_regular

    try:
        return read_regular(path, most_bytes)
    except OSError as fault:
        raise BadInput(f"{path}: cannot be read ({fault.strerror}); name another file") from None


def write_picture(path: Path, svg: str) -> None:
    """Write an SVG picture to a file that an option named; ``-`` is standard output.

    Raises BadInput, also when the file holds anything but a picture that this program drew.
    """
    write_replaceable(path, svg, _is_own_picture)


def write_page(path: Path, html: str) -> None:
    """Write a page to a file that an option named; ``-`` is standard output.

    Raises BadInput, also when the file holds anything but a page that this program wrote.
    """
    write_replaceable(path, html, _is_own_page)


def write_replaceable(path: Path, text: str, is_own: Callable[[Path], bool]) -> None:
    """Write text to a file that an option named; ``-`` is standard output.

    Raises BadInput, also when a file is there that ``is_own`` does not take for one of its kind.
    """
    from ...loaders.system.atomic_write import write_atomically

    if str(path) == "-":
        click.echo(text, nl=False)
        return
    try:
        write_atomically(path, text, is_replaceable=is_own)
    except OSError as fault:
        raise BadInput(f"{path}: cannot be written ({fault.strerror}); name another file") from None
    click.echo(f"Written: {path}", err=True)


def _is_own_picture(path: Path) -> bool:
    from ..drawing.svg_frame import is_own_drawing

    with path.open("rb") as file:
        return is_own_drawing(file.read(_START_BYTES))


def _is_own_page(path: Path) -> bool:
    from ..web.saved_capture_page import MARK

    with path.open("rb") as file:
        return MARK in file.read(_START_BYTES)


def open_console() -> Console:
    """Return the console that tables are printed on; in a pipe it is 100 columns wide."""
    from rich.console import Console

    console = Console(highlight=False, markup=False, emoji=False)
    return (
        console
        if console.is_terminal
        else Console(highlight=False, markup=False, emoji=False, width=_PIPE_COLUMNS)
    )
