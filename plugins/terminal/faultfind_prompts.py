"""One reading asked for after another, each kept as soon as it is taken."""

from __future__ import annotations

from collections.abc import Callable

import click

from ...schema.reading import BadReading
from ...schema.text import visible
from ..diagnosis.answers.job import Job
from ..diagnosis.answers.job_file import JobFile
from .tables.suspect_tables import print_job

_PROMPT = "Reading (such as '17 dc=3.1V', 'C418 leaky'), undo, or nothing to stop"


def ask(
    kept: JobFile, weigh: Callable[[JobFile], Job], keep: Callable[[JobFile], None]
) -> tuple[Job, JobFile]:
    """Ask until an empty line; ``undo`` takes the last reading back.

    ``weigh`` says where a job stands and refuses what it does not understand; ``keep`` is called
    with each change. Gives the job as it stands at the end.
    """
    job = weigh(kept)
    print_job(job)
    while typed := _typed():
        changed = kept.without_last_reading() if typed == "undo" else kept.with_reading(typed)
        if changed == kept:
            click.echo("There is no reading to take back.", err=True)
            continue
        try:
            job = weigh(changed)
        except (BadReading, LookupError) as refused:
            click.echo(f"Not taken: {visible(str(refused))}", err=True)
            continue
        kept = changed
        keep(kept)
        print_job(job)
    return job, kept


def _typed() -> str:
    answer: str = click.prompt(_PROMPT, default="", show_default=False, prompt_suffix=": ")
    return answer.strip()
