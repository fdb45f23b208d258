"""Tables of ``pinfolio faultfind`` without a job: symptoms, and the effects of one failure."""

from __future__ import annotations

from ....schema import Chip, print_value
from ....schema.chips.lookup import find_condition
from ....schema.chips.usual_faults import describe_endpoint
from ....schema.text import visible
from ...diagnosis.answers.what_if import make_failures_document, predict_failures
from ...diagnosis.weighing.known_board import find_working_condition, load_board
from ...diagnosis.weighing.symptom_list import list_board_symptoms
from ..command_common import open_console, print_json

_FREQUENCY_FIGURES, _VOLTAGE_FIGURES = 6, 3


def tell_symptoms(chip: Chip, as_json: bool) -> None:
    """Print the symptoms that the chip can show, each with its meaning."""
    from rich import box
    from rich.table import Table

    symptoms = list_board_symptoms(load_board(chip, find_working_condition(chip)))
    if as_json:
        entries = [
            {"symptom": symptom.name, "means": symptom.means, "also": list(symptom.also)}
            for symptom in symptoms
        ]
        print_json({"part": chip.part, "symptoms": entries})
        return
    table = Table("Symptom", "What is seen or heard", box=box.SIMPLE_HEAD, pad_edge=False)
    for symptom in symptoms:
        table.add_row(visible(symptom.name), visible(symptom.means))
    open_console().print(table)


def tell_what_if(chip: Chip, name: str, condition: str | None, as_json: bool) -> None:
    """Print the readings that each failure of a part, joint, supply or stage would change.

    Raises UnknownSuspect and UnknownCondition.
    """
    from rich import box
    from rich.table import Table

    full_condition = find_condition(chip, condition) if condition else find_working_condition(chip)
    failures = predict_failures(load_board(chip, full_condition), name)
    if as_json:
        print_json(make_failures_document(chip, full_condition, failures))
        return
    console = open_console()
    console.print(visible(f"{chip.part}, {full_condition}"), style="bold")
    for failure in failures:
        console.print(visible(f"If {failure.said}:"), style="bold")
        if failure.symptoms:
            console.print(visible(f"  the set: {', '.join(failure.symptoms)}"))
        if not failure.changes:
            console.print("  no voltage, no signal and no frequency that is known here moves")
            continue
        table = Table("At", "Would read", "Should read", box=box.SIMPLE_HEAD, pad_edge=False)
        for change in failure.changes:
            # A counter shows more figures than a meter.
            figures = _FREQUENCY_FIGURES if change.unit == "Hz" else _VOLTAGE_FIGURES
            right_words = print_value(change.right, change.unit, figures)
            cells = (describe_endpoint(chip, change.at), change.now_words, right_words)
            table.add_row(*map(visible, cells))
        console.print(table)
