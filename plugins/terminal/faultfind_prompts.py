"""Interactive fault finding: ask for the chip, the symptoms, then one measurement at a time.

Each answer is saved at once.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import click

from ...schema.reading import BadReading
from ...schema.text import visible
from ..readings.places import list_spaced_names
from ..readings.reading_syntax import complete_answer
from .tables.suspect_tables import print_bench, print_outcomes

if TYPE_CHECKING:
    from ...loaders import Folio
    from ...schema import Chip
    from ..diagnosis.answers.job import Job
    from ..diagnosis.answers.job_file import JobFile

_HELP: Final = """\
Answer the question with a figure (470m, 0.47, 4k7, 0.9..1.2 MHz) or a word: ok, none, jumping,
distorted, hum, clipped, skip (cannot reach it). Or anything else that you read or found:
  17 dc=3.1V    crystal-node freq=ok    C418: leaky    R402: 5k2    17 soldered again
  17 to 18 ohms=4k7    17 leg to track 0.3
undo takes the last reading back, why tells what each answer would mean, an empty line ends."""


@dataclass(frozen=True)
class Bench:
    """Callbacks of an interactive hunt: evaluate a job, describe it, save it."""

    find: Callable[[JobFile], Job]
    """Evaluates a job; raises for a reading that it does not understand."""
    describe: Callable[[Job], dict[str, Any]]
    """Returns the bench document."""
    keep: Callable[[JobFile], None]
    """Is called with each change."""


def ask_for_chip(folio: Folio) -> Chip:
    """Return the chip that is typed, asking until there is one."""
    from ..search.marking_lookup import find_chip

    while True:
        typed: str = click.prompt("Chip, as far as its marking can be read")
        try:
            return find_chip(folio, typed.strip())
        except LookupError as unknown:
            click.echo(visible(f"{unknown}"), err=True)


def ask_for_symptoms(chip: Chip) -> tuple[str, ...]:
    """Return the names of the symptoms that are chosen from a list, by number or in words.

    The prompt repeats until all are understood; an empty line chooses none.
    """
    from ..diagnosis.symptoms.catalogue import find_symptom
    from ..diagnosis.weighing.known_board import find_working_condition, load_board
    from ..diagnosis.weighing.symptom_list import list_board_symptoms

    symptoms = list_board_symptoms(load_board(chip, find_working_condition(chip)))
    for number, symptom in enumerate(symptoms, 1):
        click.echo(visible(f"{number:4}  {symptom.name}: {symptom.means}"))
    while True:
        typed: str = click.prompt(
            "What does the set do (numbers or words, between commas; nothing if you cannot tell)",
            default="",
            show_default=False,
        )
        answers = [answer.strip() for answer in typed.split(",") if answer.strip()]
        try:
            return tuple(
                symptoms[int(answer) - 1].name
                if answer.isdecimal() and 0 < int(answer) <= len(symptoms)
                else find_symptom(chip, answer).name
                for answer in answers
            )
        except LookupError as unknown:
            click.echo(visible(f"Not taken: {unknown}"), err=True)


def ask_for_readings(kept: JobFile, bench: Bench) -> Job:
    """Ask for one measurement after another until an empty line; return the job at the end."""
    job = bench.find(kept)
    names = list_spaced_names(job.chip)
    document = bench.describe(job)
    print_bench(document)
    cautions_shown = {*document["now"]["cautions"]}
    click.echo(_HELP)
    while typed := _ask(document["now"]):
        if typed in ("why", "?", "help"):
            print_outcomes(document["now"])
            if typed != "why":
                click.echo(_HELP)
            continue
        changed = kept.drop_last_reading() if typed == "undo" else None
        if changed == kept:
            click.echo("There is no reading to take back.", err=True)
            continue
        try:
            changed = changed or kept.add_reading(_complete(document["now"], typed, names))
            # The fault is looked for before the reading is kept: one not understood is dropped.
            job = bench.find(changed)
        except (BadReading, LookupError) as refused:
            click.echo(f"Not taken: {visible(str(refused))}", err=True)
            continue
        kept = changed
        bench.keep(kept)
        document = bench.describe(job)
        print_bench(document, cautions_shown)
        cautions_shown.update(document["now"]["cautions"])
    return job


def _ask(now: dict[str, Any]) -> str:
    """Return the answer to the present question; empty to end."""
    asked = {"measure": now["said"], "prove": f"{now['at']} out of circuit"}.get(now["kind"])
    question = f"{asked[:1].upper()}{asked[1:]}" if asked else "Another reading"
    answer: str = click.prompt(question, default="", show_default=False, prompt_suffix=": ")
    return answer.strip()


def _complete(now: dict[str, Any], typed: str, spaced_names: Sequence[str]) -> str:
    """Return an answer as a complete line. Raises BadReading."""
    if now["kind"] not in ("measure", "prove"):
        return typed
    place = now["at"] if now["kind"] == "prove" else now["fields"][0][1]
    return complete_answer(place, now["field"], typed, spaced_names)
