"""``pinfolio lint``, ``rules`` and ``format``: a chip file looked at, explained and tidied."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ..command_common import AnswerIsNo, BadInput, print_json
from ..progress import progress_bar

if TYPE_CHECKING:
    from ...contributing.lint import Linted, Note

paths_argument = click.argument(
    "paths", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="PATH..."
)
format_option = click.option(
    "--format",
    "shape",
    type=click.Choice(["text", "json"]),
    default="text",
    show_default=True,
    help="How to answer.",
)
json_option = click.option("--json", "shape", flag_value="json", help="Same as --format json.")


@click.command("lint", short_help="Faults of chip files, and advice on them.")
@paths_argument
@click.option("--fix", is_flag=True, help="First make the fixes that are safe.")
@format_option
@json_option
@click.pass_context
def lint_command(ctx: click.Context, paths: tuple[Path, ...], fix: bool, shape: str) -> None:
    """Look at chip files, and at the folders that hold them.

    Faults keep a chip out of a folio, and give exit status 1; advice does not. Each comes with
    its place, its rule, why it matters and what to write. `pinfolio rules` explains every rule.

    \b
      pinfolio lint chips/
      pinfolio lint --fix chips/qz5710.yaml
    """
    from ....schema.text import format_count
    from ...contributing.lint import fix_file, lint_files

    files = _chip_files(paths)
    fixed = sum(_written(path, fix_file) for path in files) if fix else 0
    with progress_bar("Looking") as told:
        looked = lint_files(files, told)
    faults = sum(note.blocks for linted in looked for note in linted.notes)
    advice = sum(len(linted.notes) for linted in looked) - faults
    if shape == "json":
        documents = [linted.document() for linted in looked]
        print_json({"files": documents, "faults": faults, "advice": advice, "fixed": fixed})
    else:
        _echo(line for linted in looked for line in _told(linted))
        if fixed:
            _echo([f"{fixed} fixed"])
        total = (
            f"{format_count(len(looked), 'file')}: {format_count(faults, 'fault')}, {advice} advice"
        )
        _echo([total])
    ctx.exit(1 if faults else 0)


def _told(linted: Linted) -> Iterator[str]:
    """The lines about one file: its notes, then how complete it is."""
    from ....schema.text import format_count

    rule = ""
    for note in linted.notes:
        yield from _note_lines(linted.file, note, say_why=note.rule != rule)
        rule = note.rule
    if linted.completeness is not None:
        figure = linted.completeness
        yield f"{linted.file}: {linted.part} is {figure.percent:g} % complete"
        for gap in figure.gaps[:3]:
            missing = format_count(gap.missing, "time")
            yield f"    {gap.raises_percent:+g} %: {gap.what}, missing {missing}"


def _note_lines(file: str, note: Note, *, say_why: bool) -> Iterator[str]:
    from ....schema.rules import find_rule

    sort = "fault" if note.blocks else "advice"
    yield f"{file}:{note.line}:{note.column}: {sort} {note.rule}: {note.message}"
    if say_why:
        yield f"    why: {find_rule(note.rule).why}"
    if note.write:
        yield f"    write: {note.write}"


@click.command("rules", short_help="What each rule of chip files is for.")
@click.argument("name", required=False)
@format_option
@json_option
def rules_command(name: str | None, shape: str) -> None:
    """Explain every rule that chip files are held to, or the one called NAME.

    \b
      pinfolio rules
      pinfolio rules dc-possible
    """
    from ....schema.rules import RULE_BOOK, find_rule

    try:
        chosen = [find_rule(name)] if name else list(RULE_BOOK)
    except KeyError:
        raise AnswerIsNo(_no_rule(str(name), [rule.name for rule in RULE_BOOK])) from None
    if shape == "json":
        print_json([_rule_document(rule) for rule in chosen])
        return
    for rule in chosen:
        sort = "fault: keeps a chip out of a folio" if rule.blocks else "advice"
        _echo([f"{rule.name} ({sort})", f"  {rule.why}", "  bad:"])
        _echo(f"    {line}" for line in rule.bad.splitlines())
        _echo(["  good:", *(f"    {line}" for line in rule.good.splitlines()), ""])


def _rule_document(rule: Any) -> dict[str, Any]:
    sort = "fault" if rule.blocks else "advice"
    return {"rule": rule.name, "kind": sort, "why": rule.why, "bad": rule.bad, "good": rule.good}


def _no_rule(name: str, known: list[str]) -> str:
    from rapidfuzz import process

    from ....schema.text import visible

    near = process.extractOne(name, known, score_cutoff=50)
    hint = f"did you mean {near[0]!r}?" if near else "`pinfolio rules` names them all."
    return f"no rule {visible(name)!r}; {hint}"


@click.command("format", short_help="Put chip files in canonical form.")
@paths_argument
@click.option("--check", is_flag=True, help="Change nothing; exit status 1 if something would.")
def format_command(paths: tuple[Path, ...], check: bool) -> None:
    """Order keys, spacing and quantities of chip files one way; comments stay.

    \b
      pinfolio format chips/
    """
    from ....loaders.errors import ChipFileError
    from ....schema.text import format_count, visible

    files, changed, faults = _chip_files(paths), 0, []
    for path in files:
        try:
            if _written(path, lambda path: _format_file(path, check)):
                changed += 1
                _echo([f"{path}: {'would change' if check else 'formatted'}"])
        except ChipFileError as refused:
            faults.append(visible(str(refused), keep_lines=True))
    if faults:
        raise BadInput("\n".join(faults))
    _echo(
        [f"{format_count(len(files), 'file')}: {changed} {'to format' if check else 'formatted'}"]
    )
    if check and changed:
        raise AnswerIsNo("not all files are in canonical form; mend it with: pinfolio format PATH")


def _format_file(path: Path, check: bool) -> bool:
    """Whether the file is not canonical yet; it is then, unless it is only checked."""
    from ....loaders.chip_files.canonical_text import format_chip_file
    from ....loaders.chip_files.chip_file import read_chip_bytes
    from ....loaders.system.atomic_write import write_atomically

    data = read_chip_bytes(path)
    text = format_chip_file(data, str(path))
    if text.encode() == data:
        return False
    if not check:
        write_atomically(path, text)
    return True


def _chip_files(paths: Iterable[Path]) -> list[Path]:
    from ....loaders.chip_files.chip_file import find_chip_files
    from ....loaders.errors import ChipFileError
    from ....schema.text import visible

    try:
        found = list(dict.fromkeys(find_chip_files(paths)))
    except ChipFileError as refused:
        raise BadInput(visible(str(refused), keep_lines=True)) from None
    if not found:
        raise BadInput("no chip files found; name a file, or a folder with .yaml files in it")
    return found


def _written(path: Path, change: Any) -> int:
    """What ``change`` did to the file; that it cannot be written is one clear line."""
    from ....schema.text import visible

    try:
        return int(change(path))
    except OSError as refused:
        raise BadInput(f"{visible(str(path))}: cannot be written ({refused.strerror})") from None


def _echo(lines: Iterable[str]) -> None:
    from ....schema.text import visible

    for line in lines:
        click.echo(visible(line))
