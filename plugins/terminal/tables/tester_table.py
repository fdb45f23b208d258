"""The view with a component tester as lines under a pin card."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from ..command_common import open_console
from .card_tables import Row, print_rows, print_words

if TYPE_CHECKING:
    from ...instruments.component_tester import SetOffView


def print_tester_view(view: SetOffView) -> None:
    """Print the figures that a component tester shows, safety first."""
    console = open_console()
    console.print()
    print_words(console, f"Set off, with {view.tester.name}", style="bold")
    print_rows(console, _list_rows(view))


def _list_rows(view: SetOffView) -> Iterator[Row]:
    for remark in view.remarks:
        yield "Mind", [remark]
    if view.pin is not None:
        yield "To ground", [f"hot lead on the pin: {view.pin.words}"]
        yield "Counted", [", ".join(view.counted)]
    for part in view.parts:
        yield part.of, [f"by itself: {part.words}"]
