"""What every command that asks a folio shares: which folio, how it answers no, how JSON looks."""

from __future__ import annotations

import json
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
    help="The folio to ask. Else PINFOLIO_FOLIO, else your own, else the demonstration.",
)
json_option = click.option("--json", "as_json", is_flag=True, help="Answer as JSON.")


class AnswerIsNo(click.ClickException):
    """The question was understood and the answer is no: exit status 1."""

    exit_code = 1


class BadInput(click.ClickException):
    """What was given cannot be used: exit status 2."""

    exit_code = 2


@contextmanager
def answering() -> Iterator[None]:
    """What is not there is a no; what cannot be used is wrong input: each one clear message."""
    from ...loaders.errors import InvalidFileError
    from ...schema.errors import Unknown, Unusable

    try:
        yield
    except Unknown as unknown:
        raise AnswerIsNo(_plain(str(unknown))) from None
    except (Unusable, InvalidFileError) as refused:
        raise BadInput(_plain(str(refused))) from None


@contextmanager
def asked_folio(option: Path | None) -> Iterator[Folio]:
    """The folio to ask, open; what it cannot answer becomes one clear line and an exit status."""
    from ...loaders import FolioError, open_folio
    from ...loaders.folio.folio_choice import find_folio

    try:
        with progress_bar("Building the demonstration folio") as progress:
            path = find_folio(option, progress)
        with open_folio(path) as folio, answering():
            yield folio
    except FolioError as fault:
        raise BadInput(_plain(str(fault))) from None


def print_json(document: Any) -> None:
    """The document on standard output, as people can read it and terminals do not obey it."""
    from ...schema.text import visible

    text = json.dumps(document, ensure_ascii=False, indent=2)
    if visible(text, keep_lines=True) != text:
        seen = (
            sign if sign == "\n" or visible(sign) == sign else json.dumps(sign) for sign in text
        )
        text = "".join(sign.strip('"') if len(sign) > 1 else sign for sign in seen)
    click.echo(text)


def write_file(path: Path, text: str) -> None:
    """Write a file that was asked for; ``-`` is standard output."""
    if str(path) == "-":
        click.echo(text, nl=False)
        return
    from ...loaders.system.atomic_write import write_atomically

    try:
        write_atomically(path, text)
    except OSError as fault:
        raise BadInput(f"{path}: cannot be written ({fault.strerror}); name another file") from None
    click.echo(f"Written: {path}", err=True)


def terminal() -> Console:
    """Where tables go: standard output, 100 columns wide in a pipe, colours on a terminal only."""
    from rich.console import Console

    console = Console(highlight=False, markup=False, emoji=False)
    return (
        console
        if console.is_terminal
        else Console(highlight=False, markup=False, emoji=False, width=100)
    )


def _plain(message: str) -> str:
    from ...schema.text import visible

    return visible(message, keep_lines=True)
