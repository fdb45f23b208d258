"""``pinfolio faultfind``: what is suspect, and where do I probe next?"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ..asking import AnswerIsNo, BadInput, asked_folio, folio_option, json_option, print_json
from ..instruments.choosing import chosen_or_ordinary, instrument_options
from ..notes.asked import asked_shop, keep_note, on_terminal, shop_option, yes_option

if TYPE_CHECKING:
    from ...schema import Chip
    from ...schema.instrument import Instruments
    from ..readings.checks import PinReading
    from .job import Job


@click.command("faultfind", short_help="What is suspect, and where do I probe next?")
@click.argument("part")
@click.option(
    "--symptom",
    "symptoms",
    multiple=True,
    metavar="WORDS",
    help="What the set does: 'picture tears', 'no colour' ... May be given again.",
)
@click.option(
    "--reading",
    "given",
    multiple=True,
    metavar="READING",
    help="A reading: '17 dc=3.1V freq=15.1kHz'. May be given again.",
)
@click.option(
    "--readings",
    type=click.Path(path_type=Path, dir_okay=False, exists=True),
    metavar="FILE",
    help="Readings of many pins in a file, as 'pinfolio check' takes it.",
)
@click.option("--condition", metavar="NAME", help="The state of the set while measuring.")
@click.option("--interactive", is_flag=True, help="Ask for one reading after another.")
@click.option("--note", "as_note", is_flag=True, help="Keep the job as a note of the shop.")
@click.option("--cure", metavar="TEXT", help="With --note: what cured the set.")
@yes_option
@shop_option
@instrument_options
@json_option
@folio_option
def faultfind_command(
    part: str,
    symptoms: tuple[str, ...],
    given: tuple[str, ...],
    readings: Path | None,
    condition: str | None,
    interactive: bool,
    as_note: bool,
    cure: str | None,
    yes: bool,
    shop_folder: Path | None,
    meter: str | None,
    probe: str | None,
    scope: str | None,
    as_json: bool,
    folio: Path | None,
) -> None:
    """Weigh everything that may be wrong with a chip and what is around it, and say what to
    measure next.

    Stops when nothing more separates the suspects. Points that are dangerous are never proposed.
    When the set is cured, --note keeps its symptoms, readings and first suspect for the next one.

    \b
      pinfolio faultfind TQZ5752 --symptom "picture tears"
      pinfolio faultfind TQZ5752 --reading "17 freq=497kHz" --reading "16 dc=3.6V"
      pinfolio faultfind MDQ3724 --symptom "no green" --interactive
      pinfolio faultfind KYE2620 --symptom "picture tears" --reading "2 dc=3V" \\
          --note --cure "New C501, C0G"
    """
    from ..search.marking import chip_marked
    from .job import find_fault
    from .one_line import reading_of

    if cure and not as_note:
        raise BadInput("--cure goes with --note")
    with asked_folio(folio) as opened, _answers():
        chosen = chosen_or_ordinary(meter, probe, scope)
        chip = chip_marked(opened, part)
        taken = [reading_of(text) for text in given]
        if readings is not None:
            from ..readings.table import read_table

            taken += read_table(readings.read_bytes(), str(readings))
        if interactive:
            job, taken = _ask(chip, symptoms, taken, chosen, condition)
        else:
            job = find_fault(chip, symptoms, taken, chosen, condition)
    if as_json:
        print_json(job.document())
    elif not interactive:
        from .in_terminal import print_job

        print_job(job)
    if as_note:
        _keep(job, taken, cure, yes, shop_folder)


def _keep(
    job: Job, taken: list[PinReading], cure: str | None, yes: bool, shop_folder: Path | None
) -> None:
    """Keep the job as a note; on a terminal the cure is asked for where it was not said."""
    from ..notes.filling import signed
    from .job_note import note_of_job

    if not cure and on_terminal():
        cure = click.prompt("What cured it", err=True)
    if not cure:
        raise BadInput('--note needs what cured the set: --cure "New C501, C0G"')
    with asked_shop(shop_folder) as shop, _answers():
        note = note_of_job(job, taken, cure, signed(shop), shop.handle)
        path = keep_note(shop, note, (), yes)
    click.echo(f"{note.id}: kept in {path}", err=True)


def _ask(
    chip: Chip,
    symptoms: tuple[str, ...],
    taken: list[PinReading],
    chosen: Instruments,
    condition: str | None,
) -> tuple[Job, list[PinReading]]:
    """One reading after another; ``undo`` takes the last back, an empty line ends it."""
    from ..readings.reading import BadReading
    from .in_terminal import print_job
    from .job import find_fault
    from .one_line import reading_of

    while True:
        job: Job = find_fault(chip, symptoms, taken, chosen, condition)
        print_job(job)
        if not job.next:
            return job, taken
        typed = click.prompt(
            "Reading (such as '17 dc=3.1V'), undo, or nothing to stop",
            default="", show_default=False, prompt_suffix=": ",
        ).strip()  # fmt: skip
        if not typed:
            return job, taken
        if typed == "undo":
            taken = taken[:-1]
            continue
        try:
            found = reading_of(typed)
            find_fault(chip, symptoms, [*taken, found], chosen, condition)
        except (BadReading, LookupError) as refused:
            click.echo(f"Not taken: {refused}", err=True)
        else:
            taken = [*taken, found]


@contextmanager
def _answers() -> Iterator[None]:
    """What is unknown is a no; what cannot be read is wrong input."""
    from ...loaders import UnknownPart
    from ...loaders.faults import FaultyFile
    from ...schema.text import visible
    from ..notes.note_form import BadForm
    from ..readings.reading import BadReading

    try:
        yield
    except UnknownPart:
        raise
    except LookupError as unknown:
        raise AnswerIsNo(visible(str(unknown))) from None
    except (BadForm, BadReading, FaultyFile) as refused:
        raise BadInput(visible(str(refused), keep_lines=True)) from None
