"""Shared by ``lint``, ``format`` and ``rules``: the files to work on, the form of the answer."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

import click

from .command_common import BadInput

paths_argument = click.argument(
    "paths", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="PATH..."
)
format_option = click.option(
    "--format",
    "shape",
    type=click.Choice(["text", "json"]),
    default="text",
    show_default=True,
    help="Form of the answer.",
)
json_shape_option = click.option(
    "--json", "shape", flag_value="json", help="Same as --format json."
)


def find_files(paths: Iterable[Path]) -> list[Path]:
    """Return the chip files among files and folders, each once. Raises ChipFileError, BadInput."""
    from ...loaders.chip_files.chip_file import find_chip_files

    files = list(dict.fromkeys(find_chip_files(paths)))
    if not files:
        raise BadInput("no chip files found; name a file, or a folder with .yaml files in it")
    return files


def change_file(path: Path, change: Callable[[Path], int]) -> int:
    """Return ``change(path)``. Raises BadInput if the file cannot be written."""
    from ...schema.text import visible

    try:
        return change(path)
    except OSError as refused:
        raise BadInput(f"{visible(str(path))}: cannot be written ({refused.strerror})") from None


def print_lines(lines: Iterable[str]) -> None:
    """Print lines that may hold text from people."""
    from ...schema.text import visible

    for line in lines:
        click.echo(visible(line))
