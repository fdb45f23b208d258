"""Find the fault: rank the suspects, and say the one thing to do next.

Without arguments it asks for the chip, the symptoms, then one measurement after another.
Symptoms and readings are compared with every fault of the chip and the parts around it. The next
step is the one that gets the set working soonest: a measurement, the proof of a part, a repair;
the chip comes last. Dangerous points are never proposed. After the repair, --note keeps
the symptoms, the readings, the proof and the cure.

\b
  pinfolio faultfind
  pinfolio faultfind TQZ5752 --symptom "picture tears"
  pinfolio faultfind TQZ5752 --reading "17 freq=489kHz" --reading "16 dc=4.8V"
  pinfolio faultfind MDQ3724 --symptom "no green" --reading "C302: open"
  pinfolio faultfind KYE2620 --if C501
  pinfolio faultfind MDQ3724 --symptom "no green" --interactive --job green.job
  pinfolio faultfind KYE2620 --symptom "picture tears" --reading "2 dc=3V" \\
      --reading "C501: leaky" --note --cure "New C501, C0G"
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ..command_common import (
    BadInput,
    folio_option,
    json_option,
    open_chosen_folio,
    print_json,
    read_input,
)
from ..instrument_choice import bench_options
from ..shop_options import (
    has_chosen_shop,
    keep_note,
    on_terminal,
    open_chosen_shop,
    shop_option,
    yes_option,
)

if TYPE_CHECKING:
    from ....loaders.shop.odds_file import Odds
    from ....schema import Chip
    from ....schema.instruments import Instruments
    from ....schema.note import Note
    from ...diagnosis.answers.job import Job
    from ...diagnosis.answers.job_file import JobFile
    from ...readings.reading_syntax import Taken


@click.command(help=__doc__)
@click.argument("part", required=False)
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
    help="A reading: '17 dc=3.1V freq=15.1kHz', '17 none', with the set off '17 to 18 ohms=12k',"
    " or a part out of circuit: 'C418 leaky', 'R402 measures 5k2'. May be given again.",
)
@click.option(
    "--readings",
    type=click.Path(path_type=Path, dir_okay=False, exists=True),
    metavar="FILE",
    help="Readings in a file, as 'pinfolio check' takes it.",
)
@click.option("--condition", metavar="NAME", help="The state of the set while measuring.")
@click.option(
    "--chassis",
    metavar="TYPE",
    help="The set's chassis type: faults noted in others then count less.",
)
@click.option(
    "--if",
    "supposed",
    metavar="PART",
    help="Only tell what the chip would read if this part (C418) or joint (pin 9) had failed.",
)
@click.option("--symptoms", "list_them", is_flag=True, help="Only list the symptoms it can show.")
@click.option("--interactive", is_flag=True, help="Ask for one reading after another.")
@click.option(
    "--job",
    "kept_in",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="With --interactive: keep the job in this text file, and go on with it if it is there.",
)
@click.option("--note", "as_note", is_flag=True, help="Keep the job as a note of the shop.")
@click.option("--cure", metavar="TEXT", help="With --note: what cured the set.")
@yes_option
@shop_option
@bench_options
@json_option
@folio_option
def command(
    part: str | None,
    symptoms: tuple[str, ...],
    given: tuple[str, ...],
    readings: Path | None,
    condition: str | None,
    chassis: str | None,
    supposed: str | None,
    list_them: bool,
    interactive: bool,
    kept_in: Path | None,
    as_note: bool,
    cure: str | None,
    yes: bool,
    shop_folder: Path | None,
    instruments: Instruments,
    as_json: bool,
    folio: Path | None,
) -> None:
    from ...search.marking_lookup import find_chip
    from ..faultfind_prompts import ask_for_chip, ask_for_symptoms
    from ..tables.symptom_tables import tell_symptoms, tell_what_if

    asks_all = part is None and not (given or readings or supposed or list_them or as_json)
    interactive = interactive or asks_all
    _refuse_odd_company(cure, as_note, kept_in, interactive, readings)
    if part is None and not asks_all:
        raise click.UsageError("Name the chip, or give no option at all to be asked for it.")
    with open_chosen_folio(folio) as opened:
        chip = ask_for_chip(opened) if part is None else find_chip(opened, part)
        notes = opened.notes(chip.part)
    if supposed:
        tell_what_if(chip, supposed, condition, as_json)
        return
    if list_them:
        tell_symptoms(chip, as_json)
        return
    if asks_all and not symptoms:
        symptoms = ask_for_symptoms(chip)
    find = _prepare_finder(
        chip,
        notes,
        _list_readings_in_file(chip, readings),
        instruments,
        _read_odds(shop_folder),
        chassis,
    )
    begun = _begin_job(chip, kept_in, condition, symptoms, given)
    job = _ask(begun, kept_in, find, notes) if interactive else find(begun)
    _show(job, notes, as_json, interactive)
    if as_note or (asks_all and job.evidence.proved):
        _keep(job, cure, yes, shop_folder, is_wanted=as_note)


def _refuse_odd_company(
    cure: str | None, as_note: bool, kept_in: Path | None, interactive: bool, readings: Path | None
) -> None:
    """End with exit status 2 where options were given that say nothing together."""
    if cure and not as_note:
        raise BadInput("--cure goes with --note")
    if kept_in and not interactive:
        raise BadInput("--job goes with --interactive")
    if kept_in and readings:
        raise BadInput("--job keeps its own readings: give each as --reading")


def _show(job: Job, notes: list[Note], as_json: bool, was_shown: bool) -> None:
    """Print the job, unless the prompts did."""
    if as_json:
        from ...diagnosis.answers.job_document import make_job_document

        print_json(make_job_document(job))
    elif not was_shown:
        from ...diagnosis.answers.bench_document import make_bench_document
        from ..tables.suspect_tables import print_bench

        print_bench(make_bench_document(job, notes))


def _prepare_finder(
    chip: Chip,
    notes: list[Note],
    taken: list[Taken],
    chosen: Instruments,
    odds: Odds | None,
    chassis: str | None,
) -> Callable[[JobFile], Job]:
    """Return the function that finds where a job has come to, with the readings taken besides."""
    from ...diagnosis.answers.hunt import find_fault
    from ...readings.places import list_spaced_names
    from ...readings.reading_syntax import read_line

    spaced_names = list_spaced_names(chip)

    def find(kept: JobFile) -> Job:
        typed = [read_line(line, spaced_names) for line in kept.readings]
        readings = [*taken, *typed]
        return find_fault(
            chip, kept.symptoms, readings, chosen, kept.condition, notes, odds, chassis
        )

    return find


def _list_readings_in_file(chip: Chip, readings: Path | None) -> list[Taken]:
    """Return the readings of a file of many; none without one."""
    if readings is None:
        return []
    from ...readings.places import list_spaced_names
    from ...readings.reading_list import MOST_BYTES, read_table

    return read_table(read_input(readings, MOST_BYTES), str(readings), list_spaced_names(chip))


def _keep(
    job: Job, cure: str | None, yes: bool, shop_folder: Path | None, *, is_wanted: bool
) -> None:
    """Keep the job as a note; on a terminal the cure is asked for where it was not said."""
    from ...diagnosis.answers.job_note import build_job_note
    from ...notes.note_form import sign_form

    if not is_wanted and not has_chosen_shop(shop_folder):
        click.echo("No shop here to keep a note in; make one with: pinfolio shop init", err=True)
        return
    if not cure and (on_terminal() or not is_wanted):
        question = "What cured it" if is_wanted else "What cured it (nothing: no note)"
        cure = click.prompt(question, default="", show_default=False, err=True).strip()
    if not cure and not is_wanted:
        return
    if not cure:
        raise BadInput('--note needs what cured the set: --cure "New C501, C0G"')
    shop = open_chosen_shop(shop_folder, to_change=True)
    note = build_job_note(job, cure, sign_form(shop), shop.handle)
    path = keep_note(shop, note, (), yes, job.chip)
    click.echo(f"{note.id}: kept in {path}", err=True)


def _read_odds(shop_folder: Path | None) -> Odds | None:
    """The shop's own odds; their faults end the command with exit status 2."""
    from ...diagnosis.weighing.shop_odds import find_shop_odds

    return find_shop_odds(shop_folder)


def _ask(
    begun: JobFile, path: Path | None, find: Callable[[JobFile], Job], notes: list[Note]
) -> Job:
    """Return the job as it is when nothing more is to be read.

    With ``path`` it is saved there after each reading, and resumed from there.
    """
    from ...diagnosis.answers.bench_document import make_bench_document
    from ...diagnosis.answers.job_file import keep_job
    from ..faultfind_prompts import Bench, ask_for_readings

    def keep(kept: JobFile) -> None:
        if path is None:
            return
        try:
            keep_job(kept, path)
        except OSError as fault:
            raise BadInput(f"{path}: cannot be written ({fault.strerror})") from None

    find(begun)  # what is not understood is not written either
    keep(begun)
    return ask_for_readings(begun, Bench(find, lambda job: make_bench_document(job, notes), keep))


def _begin_job(
    chip: Chip,
    path: Path | None,
    condition: str | None,
    symptoms: tuple[str, ...],
    readings: tuple[str, ...],
) -> JobFile:
    """Return the job of a file if there is one, else a new one, with the options added."""
    from ....schema.chips.lookup import find_condition
    from ...diagnosis.answers.job_file import MOST_BYTES, begin_job, read_job
    from ...diagnosis.weighing.known_board import find_working_condition

    chosen_condition = find_condition(chip, condition) if condition else None
    if path is None or not path.exists():
        job = begin_job(chip, chosen_condition or find_working_condition(chip))
    else:
        job = read_job(read_input(path, MOST_BYTES), str(path), chip)
        job_condition = find_condition(chip, job.condition or find_working_condition(chip))
        # Readings of two conditions cannot be weighed together: most expected values differ.
        if chosen_condition and chosen_condition != job_condition:
            raise BadInput(
                f"{path}: was read in the condition {job_condition}; leave out --condition"
            )
    return job.add_lines("symptom", symptoms).add_lines("reading", readings)
