"""The part or joint that was proved bad, as the fields of a note."""

from __future__ import annotations

from ....schema.chips.usual_faults import describe_endpoint
from ...notes.note_form import Form
from ..evidence.part_tests import is_bad
from ..weighing.posterior import Thing
from .job import Job


def find_proved_cause(job: Job) -> Thing | None:
    """Return the part or joint that was proved bad; of several the one that explains most."""
    proved = sorted(job.evidence.proved, key=lambda thing: -job.found.share_of(thing))
    return proved[0] if proved else None


def describe_cause(cause: Thing, job: Job) -> Form:
    """Return the part, how it was found, and how that was proved; of a joint no part."""
    kind, what = cause
    if kind == "joint":
        named = describe_endpoint(job.chip, f"pin {what}")
        return {"failure": f"joint of {named} open", "proof": "soldered again, which cured it"}
    bad_test = next(r for r in reversed(job.evidence.parts) if r.ref == what and is_bad(r.outcome))
    proof = f"out of circuit: {bad_test.why.removeprefix('found ')}"
    return {"part": what, "failure": bad_test.outcome, "proof": proof}
