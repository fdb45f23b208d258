"""Draft a chip file from a pin table or a data sheet.

FILE is CSV, TSV, a table as plain text, or a PDF data sheet that contains text. Every value names
the page and row it was read from. Guesses are marked 'review', missing values become blanks with a
hint, and unread cells are listed here and at the end of the draft. Several files are drafted into a
folder; one failure does not stop the others, and the exit status is then 1.

\b
  pinfolio draft tqz5752.csv --part TQZ5752 --package SDIP-52 -o chips/
  pinfolio draft sheet.pdf --explain
  pinfolio draft sheets/*.pdf -o chips/
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ....schema.text import format_count, visible
from ..command_common import AnswerIsNo, BadInput
from ..new_file import write_chip_file
from ..progress import progress_bar

if TYPE_CHECKING:
    from ....loaders.drafting.chip_draft import Identity
    from ...contributing.drafting import CannotDraft, Drafted


@click.command(help=__doc__)
@click.argument(
    "files", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="FILE..."
)
@click.option("--part", help="The part number.")
@click.option("--maker", help="Who makes or made it.")
@click.option("--kind", help="What the chip does in the set: jungle, comb filter ...")
@click.option("--package", help="Family and number of pins: SDIP-42.")
@click.option(
    "--column",
    "columns",
    multiple=True,
    metavar="KEY=N",
    help="What column N holds, from 1: dc_typ=5, 'dc@colour bars=6', skip=7. May be repeated.",
)
@click.option("--pages", help="Pages of a data sheet to look at: 3-9.", metavar="FIRST-LAST")
@click.option("--explain", is_flag=True, help="Show how the columns were told.")
@click.option(
    "-o",
    "--out",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Where to write it, a new file or a folder; printed when not given.",
)
def command(
    files: tuple[Path, ...],
    part: str | None,
    maker: str | None,
    kind: str | None,
    package: str | None,
    columns: tuple[str, ...],
    pages: str | None,
    explain: bool,
    out: Path | None,
) -> None:
    from ...contributing.drafting import CannotDraft, Wanted, draft_file, draft_files

    identity = _identity(part, maker, kind, package)
    wanted = Wanted(identity, _overrides(columns), _pages(pages))
    if len(files) > 1:
        _check_several(part, out)
        with progress_bar("Drafting") as told:
            failed = sum(not _told(each, explain, out) for each in draft_files(files, wanted, told))
        if failed:
            raise AnswerIsNo(f"{failed} of {len(files)} files not drafted")
        return
    try:
        drafted = draft_file(files[0], wanted)
    except CannotDraft as fault:
        raise BadInput(visible(str(fault), keep_lines=True)) from None
    _tell(drafted, explain)
    _put(drafted, out)


def _check_several(part: str | None, out: Path | None) -> None:
    """Several files need a folder to go to, and each its own part."""
    if part is not None:
        raise BadInput("found --part with several files, expected it with one file only")
    if out is None or not out.is_dir():
        raise BadInput("found several files, expected -o with a folder for them: -o chips/")


def _told(drafted: Drafted | CannotDraft, explain: bool, out: Path | None) -> bool:
    """Tell of one of several drafts and write it; False when there is none."""
    from ...contributing.drafting import Drafted

    try:
        if not isinstance(drafted, Drafted):
            raise BadInput(str(drafted))
        _tell(drafted, explain, f"{drafted.file.name}: ")
        _put(drafted, out)
    except BadInput as fault:
        click.echo(visible(fault.message, keep_lines=True), err=True)
        return False
    return True


def _tell(drafted: Drafted, explain: bool, of_file: str = "") -> None:
    """How the columns were told, if that is asked for, and what was not read."""
    for line in drafted.explained if explain else ():
        click.echo(visible(f"{of_file}{line}"), err=True)
    for unread in drafted.draft.unread:
        click.echo(visible(f"{of_file}not read: {unread}"), err=True)


def _identity(
    part: str | None, maker: str | None, kind: str | None, package: str | None
) -> Identity:
    """What the options say the chip is."""
    from ....loaders.chip_files.part_name import PartError, check_part
    from ....loaders.drafting.chip_draft import Identity
    from ...contributing.new_chip import NotAChip, check_kind, read_package

    try:
        if part is not None:
            part = check_part(part)
        if kind is not None:
            check_kind(kind)
        return Identity(part, maker, kind, read_package(package) if package else None)
    except (PartError, NotAChip) as refused:
        raise BadInput(visible(str(refused))) from None


def _overrides(columns: tuple[str, ...]) -> dict[str, int]:
    """``dc_typ=5`` -> {"dc_typ": 5}."""
    from ....loaders.drafting.column_headings import UnknownColumnError, check_overrides

    overrides: dict[str, int] = {}
    for said in columns:
        key, sign, number = said.rpartition("=")
        if not sign or not number.strip().isdecimal() or len(number) > 3:
            raise BadInput(f"found --column {said!r}, expected a key and a number: dc_typ=5")
        overrides[key.strip()] = int(number)
    try:
        check_overrides(overrides)
    except UnknownColumnError as refused:
        raise BadInput(str(refused)) from None
    return overrides


def _pages(said: str | None) -> tuple[int, int] | None:
    """``3-9`` -> (3, 9)."""
    if said is None:
        return None
    first, _, last = said.partition("-")
    ends = (first, last or first)
    if not all(end.isdecimal() and len(end) < 6 for end in ends) or int(first) < 1:
        raise BadInput(f"found --pages {said!r}, expected first and last page: 3-9")
    return int(ends[0]), int(ends[1])


def _put(drafted: Drafted, out: Path | None) -> None:
    """Print the draft, or write it as a file that was not there before."""
    draft = drafted.draft
    if out is None:
        click.echo(draft.text, nl=False)
        return
    shown = write_chip_file(out, drafted.part or drafted.file.stem, draft.text)
    counts = f"{format_count(draft.pins, 'pin')}, {format_count(draft.blanks, 'blank')}"
    unread = f"{len(draft.unread)} not read"
    click.echo(f"{shown}: {counts}, {unread}; next: pinfolio lint {shown}")
