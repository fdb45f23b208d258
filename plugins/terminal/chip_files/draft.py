"""Draft a chip file from a pin table or a data sheet.

FILE is CSV, TSV, a table as plain text, a workbook (.xlsx, .xls, .ods), a page in HTML or Markdown,
or a PDF data sheet; - reads standard input. Scanned pages and pictures (.png, .jpg, .tif) need the
extra 'ocr': each of their values carries confidence and place, and a doubtful one is left blank
until you compare it with --review. Every value names the page and row it was read from. Guesses are
marked 'review', missing values become blanks with a hint, and unread cells are listed here and at
the end of the draft. Characteristics become parameters, suggested as levels of waveforms, never the
DC of a pin. Several files are drafted into a folder; one failure does not stop the others, and the
exit status is then 1.

--into puts the values into an existing chip file: blanks are filled, new values added with their
source, and where the two differ you are asked; comments stay. Without a terminal to ask, the
differences are listed, nothing is written, and the exit status is 1.

\b
  pinfolio draft tqz5752.csv --part TQZ5752 --package SDIP-52 -o chips/
  pinfolio draft sheet.pdf --explain
  pinfolio draft scan.pdf --pages 3-5 --review -o chips/
  pinfolio draft sheets/*.pdf -o chips/
  pinfolio draft sheet.pdf --into chips/zz1.yaml
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from ....loaders.system.shell_words import quote_word
from ....schema.text import format_count, visible
from ..command_common import AnswerIsNo, BadInput
from ..new_file import write_chip_file
from ..progress import progress_bar

if TYPE_CHECKING:
    from ....loaders.drafting.draft_identity import Identity
    from ...contributing.drafting import CannotDraft, Drafted


_MOST_DIGITS: Final = 3  # of the number of a column


@click.command(help=__doc__)
@click.argument(
    "files", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="FILE..."
)
@click.option("--part", help="The part number.")
@click.option("--maker", help="The maker.")
@click.option("--kind", help="Kind of chip: jungle, comb filter ...")
@click.option("--package", help="Family and number of pins: SDIP-42.")
@click.option(
    "--column",
    "columns",
    multiple=True,
    metavar="KEY=N",
    help="Content of column N, from 1: dc_typ=5, 'dc@colour bars=6', skip=7. Repeatable.",
)
@click.option("--pages", help="Pages of a data sheet to read: 3-9.", metavar="FIRST-LAST")
@click.option("--table", help="Tables of a workbook or page to read: 2, or 1,3.", metavar="N")
@click.option("--encoding", default="", help="Encoding of a table in text: Shift-JIS, GBK, CP1251.")
@click.option(
    "--review",
    is_flag=True,
    help="Compare doubtful values of a scan one by one; with -o also a page with their pictures.",
)
@click.option("--explain", is_flag=True, help="Show how the columns were recognised.")
@click.option(
    "--into",
    type=click.Path(path_type=Path),
    metavar="CHIP",
    help="Existing chip file to put the values into; asks where they differ.",
)
@click.option("--keep", is_flag=True, help="With --into: keep the file's value where they differ.")
@click.option(
    "-o",
    "--out",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="New file or folder to write to; default: print the draft.",
)
def command(
    files: tuple[Path, ...],
    part: str | None,
    maker: str | None,
    kind: str | None,
    package: str | None,
    columns: tuple[str, ...],
    pages: str | None,
    table: str | None,
    encoding: str,
    review: bool,
    explain: bool,
    into: Path | None,
    keep: bool,
    out: Path | None,
) -> None:
    """Draft a chip file from each data sheet. Raises BadInput and AnswerIsNo."""
    from ...contributing.drafting import CannotDraft, Wanted, draft_file, draft_files

    _check_into(files, into, keep, out)
    if review and len(files) > 1:
        raise BadInput("--review takes one file at a time; leave the others out")
    identity = _build_identity(part, maker, kind, package)
    tables = _parse_tables(table)
    wanted = Wanted(identity, _parse_columns(columns), _parse_pages(pages), tables, encoding)
    if len(files) > 1:
        _check_several(part, out)
        # One data sheet that cannot be read does not stop the others.
        with progress_bar("Drafting") as progress:
            drafts = draft_files(files, wanted, progress)
            failed = sum(not _report(draft, explain, out) for draft in drafts)
        if failed:
            raise AnswerIsNo(f"{failed} of {len(files)} files not drafted")
        return
    try:
        with progress_bar("Reading scanned pages", "pages") as progress:
            drafted = draft_file(files[0], wanted, progress)
    except CannotDraft as fault:
        raise BadInput(visible(str(fault), keep_lines=True)) from None
    if review:
        from ..scan_prompts import review_scan

        drafted = review_scan(drafted, wanted, out)
    _print_unread(drafted, explain)
    if into is not None and drafted.scanned:
        raise BadInput("--into takes no scan; draft it with -o and compare it first")
    if into is not None:
        from ..draft_into import draft_into

        draft_into(drafted, into, keep)
        return
    _write_draft(drafted, out)


def _check_into(files: tuple[Path, ...], into: Path | None, keep: bool, out: Path | None) -> None:
    """Raise BadInput for options that contradict --into."""
    if into is None and keep:
        raise BadInput("--keep is for --into; leave it out")
    if into is not None and (out is not None or len(files) > 1):
        raise BadInput("--into takes one table into one chip file; leave -o and further files out")


def _check_several(part: str | None, out: Path | None) -> None:
    """Raise BadInput unless several files have a folder, and no common part number."""
    if part is not None:
        raise BadInput("--part names one chip, but there are several files; draft them one by one")
    if out is None or not out.is_dir():
        raise BadInput("several files need an existing folder for their drafts: -o chips/")


def _report(drafted: Drafted | CannotDraft, explain: bool, out: Path | None) -> bool:
    """Print the remarks on one of several drafts and write it; return False if there is none."""
    from ...contributing.drafting import Drafted

    try:
        if not isinstance(drafted, Drafted):
            raise BadInput(str(drafted))
        _print_unread(drafted, explain, f"{drafted.file.name}: ")
        _write_draft(drafted, out)
    except BadInput as fault:
        click.echo(visible(fault.message, keep_lines=True), err=True)
        return False
    return True


def _print_unread(drafted: Drafted, explain: bool, of_file: str = "") -> None:
    """Print the unread cells, and with ``explain`` how the columns were recognised."""
    for line in drafted.explained if explain else ():
        click.echo(visible(f"{of_file}{line}"), err=True)
    for unread in drafted.draft.unread:
        click.echo(visible(f"{of_file}not read: {unread}"), err=True)


def _build_identity(
    part: str | None, maker: str | None, kind: str | None, package: str | None
) -> Identity:
    """Return the identity of the chip that the options give."""
    from ....loaders.chip_files.part_name import PartError, check_part
    from ....loaders.drafting.draft_identity import Identity
    from ...contributing.new_chip import NotAChip, check_kind, read_package

    try:
        if part is not None:
            part = check_part(part)
        if kind is not None:
            check_kind(kind)
        return Identity(part, maker, kind, read_package(package) if package else None)
    except (PartError, NotAChip) as refused:
        raise BadInput(visible(str(refused))) from None


def _parse_columns(columns: tuple[str, ...]) -> dict[str, int]:
    """Return the columns that the options give: ``{"dc_typ": 5}`` for ``dc_typ=5``.

    Raises BadInput with every fault, a line each.
    """
    from ....loaders.drafting.column_headings import UnknownColumnError, check_overrides

    overrides: dict[str, int] = {}
    faults: list[str] = []
    for option in columns:
        key, sign, number = option.rpartition("=")
        # Several columns may be skipped, so each is a key of its own.
        key = f"skip@{number.strip()}" if key.strip() == "skip" else key.strip()
        if not sign or not number.strip().isdecimal() or len(number) > _MOST_DIGITS:
            faults.append(f"--column {option!r} is not a key and a number, such as dc_typ=5")
        elif overrides.setdefault(key, int(number)) != int(number):
            faults.append(f"--column {key} is given twice; leave one of the two out")
    try:
        check_overrides(overrides)
    except UnknownColumnError as refused:
        faults.append(str(refused))
    if faults:
        raise BadInput(visible("\n".join(faults), keep_lines=True))
    return overrides


def _parse_pages(option: str | None) -> tuple[int, int] | None:
    """``3-9`` -> (3, 9)."""
    if option is None:
        return None
    first, _, last = option.partition("-")
    ends = (first, last or first)
    if not all(end.isdecimal() and len(end) < 6 for end in ends) or int(first) < 1:
        raise BadInput(f"--pages {option!r} is not a first and a last page, such as 3-9")
    return int(ends[0]), int(ends[1])


def _parse_tables(option: str | None) -> tuple[int, ...]:
    """``1,3`` -> (1, 3)."""
    numbers = [] if option is None else [word.strip() for word in option.split(",")]
    if not all(word.isdecimal() and len(word) < 4 and int(word) for word in numbers):
        raise BadInput(f"--table {option!r} is no number of a table, such as 2 or 1,3")
    return tuple(dict.fromkeys(map(int, numbers)))


def _write_draft(drafted: Drafted, out: Path | None) -> None:
    """Print the draft, or write it to a new file."""
    draft = drafted.draft
    if out is None:
        click.echo(draft.text, nl=False)
        return
    shown = write_chip_file(out, drafted.part or drafted.file.stem, draft.text)
    counts = f"{format_count(draft.pins, 'pin')}, {format_count(draft.blanks, 'blank')}"
    unread = f"{len(draft.unread)} not read"
    click.echo(f"{shown}: {counts}, {unread}; next: pinfolio lint {quote_word(shown)}")
