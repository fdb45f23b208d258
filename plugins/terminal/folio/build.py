"""Build a folio from chip files and notes.

SOURCE is a chip file, a file of chips as JSON Lines, a folder of either, or a shop's folder with
its notes. Lists every error with its line number; writes nothing unless all files are valid. With
--keep-going the valid chips are built, and the exit status is 1 if any was left out.

\b
  pinfolio build chips/ -o folio.db
  pinfolio build chips/ my-shop/ -o folio.db
  pinfolio build catalogue.jsonl --keep-going -o folio.db
"""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ..command_common import BadInput
from ..progress import progress_bar
from ..shop_options import count_set_aside, report_set_aside

if TYPE_CHECKING:
    from ....loaders.errors import Fault
    from ....loaders.folio.folio import FolioInfo


@click.command(help=__doc__)
@click.argument(
    "sources", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="SOURCE..."
)
@click.option(
    "-o",
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    required=True,
    metavar="FILE",
    help="Folio to write; an existing one is replaced when the build has succeeded.",
)
@click.option("--keep-going", is_flag=True, help="Leave out chips with faults and list them.")
@click.option(
    "--rejects",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="File that lists the chips left out by --keep-going.  [default: beside the folio]",
)
@click.option("--afresh", is_flag=True, help="Also read chip files again that have not changed.")
@click.option(
    "--processes",
    type=click.IntRange(1, 64),
    metavar="N",
    help="Number of worker processes.  [default: one for each processor]",
)
@click.pass_context
def command(
    ctx: click.Context,
    sources: tuple[Path, ...],
    out: Path,
    keep_going: bool,
    rejects: Path | None,
    afresh: bool,
    processes: int | None,
) -> None:
    from ....loaders.system.user_folders import cache_folder
    from ...contributing.rejects import open_rejects

    if rejects is not None and not keep_going:
        raise BadInput("--rejects lists the chips that --keep-going leaves out; give both")
    build = partial(
        _build,
        sources,
        out,
        cache=None if afresh else cache_folder(),
        processes=processes,
    )
    if not keep_going:
        click.echo(_describe(out, *build(rejected=None)))
        return
    listed = rejects or out.with_name(f"{out.name}.rejects.txt")
    try:
        with open_rejects(listed) as left_out:
            info, set_aside = build(rejected=left_out)
    except OSError as fault:
        raise BadInput(f"{listed}: cannot be written ({fault.strerror})") from None
    click.echo(
        f"{_describe(out, info, set_aside)}; {left_out.chips:,} rejected, listed in {listed}"
    )
    ctx.exit(1 if left_out.chips else 0)


def _build(sources: tuple[Path, ...], out: Path, **options: Any) -> tuple[FolioInfo, list[Fault]]:
    """Build the folio; return its data and the faults of the notes and files set aside."""
    from ....loaders.errors import InvalidFileError
    from ....loaders.folio.build import build_folio
    from ....schema.text import format_count, visible

    set_aside: list[Fault] = []
    try:
        with progress_bar("Building", "chips") as progress:
            info = build_folio(sources, out, progress, set_aside=set_aside, **options)
    except InvalidFileError as refused:
        messages = visible(str(refused), keep_lines=True)
        count = format_count(len(refused.faults), "fault")
        raise BadInput(f"{messages}\n{count}, so nothing was written") from None
    report_set_aside(set_aside)
    return info, set_aside


def _describe(out: Path, info: FolioInfo, set_aside: list[Fault]) -> str:
    """Return one line: the folio, counts of its contents, and its digest."""
    from ....schema.text import format_count

    counts = f"{format_count(info.chips, 'chip')}, {format_count(info.pins, 'pin')}"
    counts += f", {format_count(info.notes, 'note')}" if info.notes else ""
    return f"{out}: {counts}, digest {info.digest[:12]}{count_set_aside(set_aside)}"
