"""``pinfolio note propose``: a correction note as a patch of its chip file."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from .chip_file_paths import find_files
from .command_common import AnswerIsNo, BadInput
from .shop_options import load_notes, open_chosen_shop, shop_option

if TYPE_CHECKING:
    from ...schema.note import Note
    from ..contributing.correction_patch import CorrectionPatch


@click.command("propose", short_help="Make a correction a patch of the chip file.")
@click.argument("note_id", metavar="ID")
@click.argument(
    "paths", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="PATH..."
)
@click.option(
    "-o", "--out", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE",
    help="New file for the patch.  [default: print it]",
)  # fmt: skip
@shop_option
def propose_command(
    note_id: str, paths: tuple[Path, ...], out: Path | None, shop_folder: Path | None
) -> None:
    """Print the patch that a note of kind correction makes of its chip file.

    PATH is the chip file, or a folder that holds it; ID may be abbreviated. The patch is a unified
    diff: the value, the shop, date and number of sets as its source; all else stays as it is.
    The chip file is not changed: read the patch, apply it with `patch`, then lint.

    DC fits every expectation in the note's condition; Vpp and frequency fit where the waveform
    there states them. The exit status is 1 if the note changes nothing.

    \b
      pinfolio note propose whmfr7 chips/ -o acc.patch
      patch chips/tqz5752.yaml acc.patch
      pinfolio lint chips/tqz5752.yaml
    """
    from ...loaders.chip_files.chip_file import read_chip_bytes
    from ..contributing.correction_patch import propose_patch

    note = _find_newest(note_id, shop_folder)
    path = _find_chip_file(paths, note.chip)
    proposed = propose_patch(read_chip_bytes(path), str(path), note)
    if out is None:
        _print_patch(proposed.diff)
    else:
        _write_patch(out, proposed.diff)
    _report(proposed, path, out)


def _find_newest(note_id: str, shop_folder: Path | None) -> Note:
    """Return the newest revision of a note. Raises AnswerIsNo for a note in conflict."""
    from ..notes.revisions import find_note

    heads = find_note(load_notes(open_chosen_shop(shop_folder)), note_id).heads
    if len(heads) > 1:
        raise AnswerIsNo(
            f"the note {heads[0].id} is in conflict; settle it with 'pinfolio note edit' first"
        )
    return heads[0]


def _find_chip_file(paths: Iterable[Path], part: str) -> Path:
    """Return the file of a part, first looked for by its usual name. Raises AnswerIsNo."""
    from ...loaders.chip_files.chip_file import read_chip_bytes
    from ...loaders.chip_files.part_name import make_file_name
    from ...loaders.chip_files.yaml_positions import read_yaml
    from ...schema.text import part_key, visible

    usual = make_file_name(part)
    for path in sorted(find_files(paths), key=lambda path: path.name.lower() != usual):
        found = read_yaml(read_chip_bytes(path), str(path)).at(("part",))
        if isinstance(found, str) and part_key(found) == part_key(part):
            return path
    raise AnswerIsNo(
        visible(f"no chip file of {part} among these; name the file that describes it")
    )


def _print_patch(diff: str) -> None:
    """Print a patch: to a pipe as it is, so that it applies; on a screen no sign acts."""
    from ...schema.text import visible

    click.echo(visible(diff, keep_lines=True) if sys.stdout.isatty() else diff, nl=False)


def _write_patch(out: Path, diff: str) -> None:
    """Write a new file. Raises BadInput, also where one exists: it might be the chip file."""
    from ...loaders.system.atomic_write import write_atomically

    try:
        write_atomically(out, diff, overwrite=False)
    except FileExistsError:
        raise BadInput(f"{out}: exists already; choose another name") from None
    except OSError as refused:
        raise BadInput(f"{out}: cannot be written ({refused.strerror})") from None


def _report(proposed: CorrectionPatch, path: Path, out: Path | None) -> None:
    """Say on standard error the change, new advice of lint, and how to apply the patch."""
    from ...schema.text import visible

    file = shlex.quote(str(path))
    lines = [f"{proposed.correction.note.chip} {proposed.correction.sentence}"]
    lines += [f"Lint would advise: {advice}" for advice in proposed.advice]
    if out is not None:
        apply = f"patch {file} {shlex.quote(str(out))}"
        lines.append(f"Written: {out}; the chip file is unchanged. Apply it with: {apply}")
    for line in lines:
        click.echo(visible(line), err=True)
