"""A comparison of two chips as tables."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ....schema.text import visible
from ...contributing.difference import WEIGHTS
from ..command_common import open_console

if TYPE_CHECKING:
    from rich.table import Table

    from ...contributing.comparison import Comparison
    from ...contributing.difference import Difference


def print_comparison(made: Comparison) -> None:
    """Print the verdict, the differences by weight, and the values that could not be compared."""
    console = open_console()
    console.print(visible(made.sentence), style="bold")
    for weight, heading in WEIGHTS.items():
        differences = made.select_differences(weight)
        if differences:
            console.print()
            console.print(heading, style="bold")
            console.print(_build_table(made, differences))
    for value_name in made.not_compared:
        console.print(visible(f"Not compared: {value_name}."))
    for caution in made.cautions:
        console.print(visible(f"Caution: {caution}"))


def _build_table(made: Comparison, differences: list[Difference]) -> Table:
    """Return the table of some differences, with the value of either chip."""
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1), pad_edge=False)
    table.add_column("Pin", no_wrap=True)
    table.add_column("What")
    table.add_column(f"{visible(made.fitted.part)}, fitted", ratio=2)
    table.add_column(visible(made.other.part), ratio=2)
    table.add_column("Needs", ratio=2)
    for difference in differences:
        condition = f" ({difference.condition})" if difference.condition else ""
        cells = (
            difference.place,
            difference.aspect + condition,
            *difference.wordings,
            difference.needs,
        )
        table.add_row(*map(visible, cells))
    return table
