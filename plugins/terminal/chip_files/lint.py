"""Report faults in chip files, and advice.

PATH is a chip file or a folder of them. A fault keeps a chip out of a folio and makes the exit
status 1; advice does not. Each is listed with its line; each rule with its reason and the way to
mend it. `pinfolio rules` explains every rule. Where there is a shop's folder, its corrections that
a chip file lacks are listed too; `pinfolio note propose` makes a patch of one.

\b
  pinfolio lint chips/
  pinfolio lint --fix chips/qz5710.yaml
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from ..chip_file_paths import (
    change_file,
    find_files,
    format_option,
    json_shape_option,
    paths_argument,
    print_lines,
)
from ..command_common import print_json
from ..progress import progress_bar
from ..shop_options import has_chosen_shop, load_notes, open_chosen_shop, shop_option

if TYPE_CHECKING:
    from ...contributing.correction import Correction
    from ...contributing.lint import Linted, Note


_MOST_GAPS: Final = 3  # the fields that would complete the file most


@click.command(help=__doc__)
@paths_argument
@click.option("--fix", is_flag=True, help="First make the fixes that are safe.")
@format_option
@json_shape_option
@shop_option
@click.pass_context
def command(
    ctx: click.Context, paths: tuple[Path, ...], fix: bool, shape: str, shop_folder: Path | None
) -> None:
    """Print faults, advice and open corrections; the exit status is 1 if there are faults."""
    from ....schema.text import format_count
    from ...contributing.lint import fix_file, lint_files

    files = find_files(paths)
    # Fixed first, so that only the faults that remain are listed.
    fixed_count = sum(change_file(path, fix_file) for path in files) if fix else 0
    with progress_bar("Looking") as progress:
        report = lint_files(files, progress)
    corrections = _list_open_corrections(report.files, shop_folder)
    if shape == "json":
        open_corrections = [
            {"file": file, **correction.document()} for file, correction in corrections
        ]
        print_json(
            {**report.document(), "open_corrections": open_corrections, "fixed": fixed_count}
        )
    else:
        print_lines(line for linted in report.files for line in _describe_file(linted))
        print_lines(
            f"{file}: open correction {correction.note.id}: {correction.sentence}"
            for file, correction in corrections
        )
        if fixed_count:
            print_lines([f"{fixed_count} fixed"])
        faults = format_count(report.faults, "fault")
        print_lines([f"{format_count(len(files), 'file')}: {faults}, {report.advice} advice"])
        if report.blanks:
            blanks = format_count(report.blanks, "blank")
            print_lines([f"{blanks} among the faults: unfinished, not wrong; fill in or remove"])
    ctx.exit(1 if report.faults else 0)


def _list_open_corrections(
    files: Iterable[Linted], shop_folder: Path | None
) -> list[tuple[str, Correction]]:
    """Return each correction of the shop that a valid chip file lacks, with the file's name."""
    if shop_folder is None and not has_chosen_shop(None):
        return []
    from ....loaders.chip_files.chip_file import load_chip
    from ....schema.text import part_key
    from ...contributing.correction import list_open_corrections
    from ...notes.revisions import collect_notes, filter_notes

    stored_notes = collect_notes(load_notes(open_chosen_shop(shop_folder)))
    corrections = filter_notes(stored_notes, kind="correction")
    notes = [note for correction in corrections for note in correction.heads]
    # Most files have no correction, and need not be loaded once more.
    corrected_parts = {part_key(note.chip) for note in notes}
    corrected_files = [
        linted.file
        for linted in files
        if linted.part is not None and part_key(linted.part) in corrected_parts
    ]
    return [
        (file, correction)
        for file in corrected_files
        for correction in list_open_corrections(load_chip(Path(file)), notes)
    ]


def _describe_file(linted: Linted) -> Iterator[str]:
    """Yield the lines about one file: its faults and advice, then its completeness."""
    from ....schema.text import format_count

    last_rule = ""
    for note in linted.notes:
        # A rule is explained where it first occurs, not at every place that breaks it.
        yield from _describe_note(linted.file, note, explain=note.rule != last_rule)
        last_rule = note.rule
    if linted.completeness is not None:
        completeness = linted.completeness
        yield f"{linted.file}: {linted.part} is {completeness.percent:g} % complete"
        for gap in completeness.gaps[:_MOST_GAPS]:
            missing = format_count(gap.missing, "time")
            yield f"    {gap.raises_percent:+g} %: {gap.what}, missing {missing}"
    if linted.unmeasured:
        from ....loaders.system.shell_words import quote_word

        pins = format_count(len(linted.unmeasured), "pin")
        part, file = quote_word(linted.part or ""), quote_word(linted.file)
        command_line = f"pinfolio new {part} --measure -o {file}"
        yield f"    unfinished: {pins} not known yet; go on with: {command_line}"
    yield from _describe_guesses(linted)


def _describe_guesses(linted: Linted) -> Iterator[str]:
    """Yield a line for each key of a chip file that fault finding guesses somewhere."""
    from ...contributing.guesses import GUESSED_FROM

    if linted.guesses:
        yield "    not stated, so fault finding guesses; state it where a guess is wrong:"
    for key, source in GUESSED_FROM.items():
        taken = [f"{guess.at}: {guess.taken}" for guess in linted.guesses if guess.key == key]
        if taken:
            yield f"    {key}, from {source}: {'; '.join(taken)}"


def _describe_note(file: str, note: Note, *, explain: bool) -> Iterator[str]:
    """Yield the lines about one note; ``explain`` adds title, reason and fix of its rule."""
    from ....schema.rules import find_rule

    sort = "fault" if note.blocks else "advice"
    yield f"{file}:{note.line}:{note.column}: {sort} {note.rule}: {note.message}"
    if explain:
        rule = find_rule(note.rule)
        yield f"    rule: {rule.title}"
        yield f"    why: {rule.why}"
        yield f"    fix: {rule.fix}"
    if note.write:
        yield f"    write: {note.write}"
