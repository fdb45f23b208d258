"""``pinfolio build`` and ``pinfolio schema``: for whoever adds a chip."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from platformdirs import user_cache_path

from ...contributing.rejects import list_of_rejects
from ..command_common import BadInput, print_json
from ..progress import progress_bar

if TYPE_CHECKING:
    from ....loaders.folio.folio import FolioInfo


@click.command("build", short_help="Make a folio from chip files and notes.")
@click.argument(
    "sources", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="SOURCE..."
)
@click.option(
    "-o",
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    required=True,
    metavar="FILE",
    help="The folio to write; an old one is replaced once all is well.",
)
@click.option("--keep-going", is_flag=True, help="Leave out chips with faults, and list them.")
@click.option(
    "--rejects",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Where to list what --keep-going leaves out.  [default: beside the folio]",
)
@click.option(
    "--quick",
    is_flag=True,
    help="Leave out the fault dictionaries: they are then worked out at each first question.",
)
@click.option("--afresh", is_flag=True, help="Read chip files again that have not changed, too.")
@click.option(
    "--processes",
    type=click.IntRange(1, 64),
    metavar="N",
    help="How many share the work.  [default: as many as there are processors]",
)
@click.pass_context
def build_command(
    ctx: click.Context,
    sources: tuple[Path, ...],
    out: Path,
    keep_going: bool,
    rejects: Path | None,
    quick: bool,
    afresh: bool,
    processes: int | None,
) -> None:
    """Read chip files, files of chips as JSON Lines, folders of both, and shops' folders with
    their notes, as one folio.

    Every fault of every file is named with its line; while there is one, nothing is written. With
    --keep-going the other chips go in, and the exit status is 1 if any was left out.

    \b
      pinfolio build chips/ -o folio.db
      pinfolio build chips/ my-shop/ -o folio.db
      pinfolio build catalogue.jsonl --keep-going -o folio.db
    """
    from ...faultfinding.dictionary_bytes import dictionary_bytes

    if rejects is not None and not keep_going:
        raise BadInput("--rejects lists what --keep-going leaves out: give that too")
    build = partial(
        _build,
        sources,
        out,
        extra=None if quick else dictionary_bytes,
        cache=None if afresh else user_cache_path("pinfolio", appauthor=False),
        processes=processes,
    )
    if not keep_going:
        click.echo(_said(out, build(rejected=None)))
        return
    listed = rejects or out.with_name(f"{out.name}.rejects.txt")
    try:
        with list_of_rejects(listed) as left_out:
            info = build(rejected=left_out)
    except OSError as fault:
        raise BadInput(f"{listed}: cannot be written ({fault.strerror})") from None
    click.echo(f"{_said(out, info)}; {left_out.chips:,} rejected, listed in {listed}")
    ctx.exit(1 if left_out.chips else 0)


def _build(sources: tuple[Path, ...], out: Path, **wanted: Any) -> FolioInfo:
    from ....loaders import FolioError
    from ....loaders.errors import InvalidFileError
    from ....loaders.folio.build import build_folio
    from ....schema.text import format_count, visible

    try:
        with progress_bar("Building", "chips") as progress:
            return build_folio(sources, out, progress, **wanted)
    except FolioError as fault:
        raise BadInput(visible(str(fault), keep_lines=True)) from None
    except InvalidFileError as refused:
        told = visible(str(refused), keep_lines=True)
        count = format_count(len(refused.faults), "fault")
        raise BadInput(f"{told}\n{count}, so nothing was written") from None


def _said(out: Path, info: FolioInfo) -> str:
    """The folio and exactly what is in it."""
    from ....schema.text import format_count

    counts = f"{format_count(info.chips, 'chip')}, {format_count(info.pins, 'pin')}"
    counts += f", {format_count(info.notes, 'note')}" if info.notes else ""
    return f"{out}: {counts}, digest {info.digest[:12]}"


@click.command("schema", short_help="The JSON Schema of a chip file.")
def schema_command() -> None:
    """Print the JSON Schema of a chip file, which editors check and complete by.

    \b
      pinfolio schema > chip.schema.json
    """
    from ....schema.file_format.json_schema import chip_json_schema

    print_json(chip_json_schema())
