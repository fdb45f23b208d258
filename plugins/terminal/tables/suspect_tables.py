"""A job as a technician reads it in a terminal."""

from __future__ import annotations

from ....schema.chips.usual_faults import describe_endpoint
from ....schema.text import visible
from ...faultfinding.job import Job
from ...faultfinding.said import measured, said
from ..command_common import open_console


def print_job(job: Job) -> None:
    """Print the suspects, why, and what to measure next."""
    from rich import box
    from rich.table import Table

    console = open_console()
    told = "; ".join(job.symptoms) or "no symptom given"
    console.print(visible(f"{job.chip.part}, {job.condition}: {told}"), style="bold")
    for judged in job.judged:
        pin = judged.pin
        place = f"pin {pin.number} {pin.symbol}" if pin.number else pin.function
        console.print(visible(f"  {place}: {judged.verdict}"))
    for other in job.others:
        console.print(visible(f"  {measured(job.chip, other.point)}: {other.verdict}"))
    table = Table("Chance", "Suspect", "Prove it", "Fit", box=box.SIMPLE_HEAD, pad_edge=False)
    for suspect in job.suspects:
        cells = (suspect.said, suspect.remedy.prove, suspect.remedy.fit)
        table.add_row(f"{suspect.probability:.0%}", *map(visible, cells))
    console.print(table)
    for contradiction in job.contradictions:
        console.print(visible(contradiction))
    console.print(visible(job.conclusion), style="bold")
    if not job.next and job.suspects and job.suspects[0].remedy.check:
        checked = ", ".join(describe_endpoint(job.chip, at) for at in job.suspects[0].remedy.check)
        console.print(visible(f"  Must read right afterwards: {checked}"))
    for proposal in job.next[:3]:
        what = measured(job.chip, proposal.point)
        right = job.should_read(proposal.point)
        told = f", should read {right}" if right else ""
        figures = f"{proposal.bits:.2f} bits, effort {proposal.effort:.1f}"
        console.print(visible(f"  {what}{told}: {figures}"))
        for outcome in proposal.outcomes[:4]:
            then = " or ".join(said(job.chip, hypothesis) for hypothesis, _ in outcome.then)
            console.print(visible(f"    if {outcome.name} ({outcome.chance:.0%}): then {then}"))
