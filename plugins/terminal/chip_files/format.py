"""Rewrite chip files in canonical form.

Keys, spacing and quantities are put in one order and style; comments stay. PATH is a chip file or a
folder of them.

\b
  pinfolio format chips/
"""

from __future__ import annotations

from pathlib import Path

import click

from ..chip_file_paths import change_file, find_files, paths_argument, print_lines
from ..command_common import AnswerIsNo, BadInput


@click.command(help=__doc__)
@paths_argument
@click.option("--check", is_flag=True, help="Change nothing; exit status 1 if a file would change.")
def command(paths: tuple[Path, ...], check: bool) -> None:
    """Format chip files. Raises BadInput with all faults, and AnswerIsNo when checking."""
    from ....loaders.errors import ChipFileError
    from ....schema.text import format_count, visible
    from ...contributing.formatting import format_file

    files = find_files(paths)
    changed_count = 0
    faults: list[str] = []
    for path in files:
        try:
            if change_file(path, lambda path: format_file(path, only_check=check)):
                changed_count += 1
                print_lines([f"{path}: {'would change' if check else 'formatted'}"])
        except ChipFileError as refused:  # the other files are still formatted
            faults.append(visible(str(refused), keep_lines=True))
    if faults:
        raise BadInput("\n".join(faults))
    outcome = "to format" if check else "formatted"
    print_lines([f"{format_count(len(files), 'file')}: {changed_count} {outcome}"])
    if check and changed_count:
        raise AnswerIsNo("not all files are in canonical form; mend it with: pinfolio format PATH")
