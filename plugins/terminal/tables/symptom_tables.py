"""What ``pinfolio faultfind`` tells besides a job: symptoms, and what a failure would change."""

from __future__ import annotations

from ....schema import Chip, print_value
from ....schema.chips.lookup import find_condition
from ....schema.chips.usual_faults import describe_endpoint
from ....schema.text import visible
from ...faultfinding.job import worked_out_of
from ...faultfinding.symptoms import symptoms_of
from ...faultfinding.what_if import what_if, what_if_document
from ..command_common import open_console, print_json


def tell_symptoms(chip: Chip, as_json: bool) -> None:
    """Print the symptoms that the chip can show, each with what it means."""
    from rich import box
    from rich.table import Table

    known = symptoms_of(chip)
    if as_json:
        listed = [{"symptom": symptom.name, "means": symptom.means} for symptom in known]
        print_json({"part": chip.part, "symptoms": listed})
        return
    table = Table("Symptom", "What is seen or heard", box=box.SIMPLE_HEAD, pad_edge=False)
    for symptom in known:
        table.add_row(visible(symptom.name), visible(symptom.means))
    open_console().print(table)


def tell_what_if(
    chip: Chip, name: str, condition: str | None, as_json: bool, stored: bytes | None = None
) -> None:
    """Print what each failure of a part, or of a pin's joint, would make the chip read.

    Raises UnknownSuspect and UnknownCondition.
    """
    from rich import box
    from rich.table import Table

    named = find_condition(chip, condition) if condition else None
    dictionary = worked_out_of(chip, named, stored).dictionary
    found = what_if(chip, dictionary, name)
    if as_json:
        print_json(what_if_document(chip, dictionary.condition, found))
        return
    console = open_console()
    console.print(visible(f"{chip.part}, {dictionary.condition}"), style="bold")
    for one in found:
        console.print(visible(f"If {one.said}:"), style="bold")
        if not one.changes:
            console.print("  no voltage and no amplitude that is known here moves")
            continue
        table = Table("At", "Would read", "Should read", box=box.SIMPLE_HEAD, pad_edge=False)
        for change in one.changes:
            cells = (print_value(volts, change.unit) for volts in (change.now_v, change.right_v))
            table.add_row(visible(describe_endpoint(chip, change.at)), *cells)
        console.print(table)
