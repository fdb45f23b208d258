"""A job as a technician reads it in a terminal."""

from __future__ import annotations

from typing import Any

from ....schema.chips.usual_faults import describe_endpoint
from ....schema.text import visible
from ...diagnosis.answers.job import Job
from ...diagnosis.answers.job_document import job_document
from ..command_common import open_console

_PROPOSED = 3
_ANSWERS = 4


def print_job(job: Job) -> None:
    """Print the suspects, why, and what to do next."""
    from rich import box
    from rich.table import Table

    console, document = open_console(), job_document(job)
    told = "; ".join(document["symptoms"]) or "no symptom given"
    console.print(visible(f"{job.chip.part}, {job.condition}: {told}"), style="bold")
    for reading in document["readings"]:
        console.print(visible(f"  {_place(job, reading)}: {reading['verdict']}"))
    table = Table("Chance", "Suspect", "Prove it", "Fit", box=box.SIMPLE_HEAD, pad_edge=False)
    for suspect in document["suspects"]:
        cells = (suspect["said"], suspect["prove"], suspect["remedy"])
        table.add_row(f"{suspect['probability']:.0%}", *map(visible, cells))
    console.print(table)
    for contradiction in document["contradictions"]:
        console.print(visible(contradiction))
    console.print(visible(job.conclusion), style="bold")
    if not document["next"] and document["suspects"] and document["suspects"][0]["check"]:
        checked = ", ".join(
            describe_endpoint(job.chip, at) for at in document["suspects"][0]["check"]
        )
        console.print(visible(f"  Must read right afterwards: {checked}"))
    for proposal in document["next"][:_PROPOSED]:
        _print_proposal(console, proposal)


def _print_proposal(console: Any, proposal: dict[str, Any]) -> None:
    """Print one measurement with what it should read, and what each answer would mean."""
    right = f", should read {proposal['should_read']}" if proposal["should_read"] else ""
    console.print(visible(f"  {proposal['said']}{right}"))
    for outcome in proposal["outcomes"][:_ANSWERS]:
        then = " or ".join(one["said"] for one in outcome["then"])
        console.print(visible(f"    {outcome['outcome']} ({outcome['chance']:.0%}): then {then}"))


def _place(job: Job, reading: dict[str, Any]) -> str:
    """Return where a reading was taken, in words."""
    if "pin" not in reading:
        return f"{describe_endpoint(job.chip, reading['at'])}, {reading['quantity']}"
    return f"pin {reading['pin']} {reading['symbol']}" if reading["pin"] else reading["symbol"]
