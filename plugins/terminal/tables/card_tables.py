"""The pin card and the chip sheet as tables."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Final

from ....schema.quantities import print_value
from ....schema.text import visible
from ..command_common import open_console
from .long_table import print_long_table

if TYPE_CHECKING:
    from rich.console import Console

    from ....schema.chip import Chip
    from ...cards.chip_sheet import ChipSheet
    from ...cards.pin_card import ConditionView, PinCard
    from ...cards.stated_parameters import StatedParameter
    from ...instruments.instrument_view import InstrumentView

Row = tuple[str, Iterable[str]]
"""A label and its values."""

_LABEL: Final = 12
_COLUMNS: Final = 2  # conditions side by side that leave room for the words


def print_card(card: PinCard) -> None:
    """Print a pin card, a block for each condition."""
    console = open_console()
    print_words(console, card.title, style="bold")
    print_words(console, card.sentence)
    if card.chip.invented:
        print_words(
            console, f"Invented example: {card.chip.part} by {card.chip.maker} does not exist."
        )
    for shown in card.conditions:
        console.print()
        print_words(console, shown.condition, style="bold")
        print_rows(console, _list_condition(shown))
    if card.through is not None:
        chosen = card.through.instruments
        console.print()
        names = f"{chosen.meter.name}, {chosen.probe.name}, {chosen.scope.name}"
        print_words(console, f"Through {names}", style="bold")
        print_rows(console, _list_through(card.through))
    console.print()
    print_rows(console, _list_surroundings(card))


def print_sheet(sheet: ChipSheet) -> None:
    """Print a chip sheet with its pin table."""
    console, chip = open_console(), sheet.chip
    print_words(
        console, f"{chip.part}  {chip.maker}  {chip.kind}  {chip.package.name}", style="bold"
    )
    print_words(console, chip.summary)
    print_rows(console, _list_identity(chip))
    _print_pins(console, sheet)
    if sheet.parameters:
        _print_parameters(console, sheet.parameters)
    print_rows(console, _list_remarks(sheet))


def _list_condition(shown: ConditionView) -> Iterator[Row]:
    """Yield the rows on one condition: the expected values, their source, and observed ones."""
    expectation = shown.expectation
    if expectation.dc is not None:
        yield "DC", [f"{shown.dc_value} ({shown.dc_limits})"]
    if expectation.waveform is not None:
        if shown.has_picture:
            yield "Signal", [f"{shown.vpp} at {shown.frequency}"]
        yield "Shape", [expectation.waveform.describe()]
    if shown.settings is not None and shown.has_picture:
        yield "Scope", [shown.settings.sentence]
    if expectation.resistance is not None:
        yield "To ground", [shown.resistance_words]
    yield "Note", [note for note in (expectation.beyond_supply, expectation.note) if note]
    yield "Source", [shown.source_words]
    for comparison in shown.beside:
        observed = comparison.observed
        lines = [f"{observed.name} {observed.value_words}, {observed.range_words}"]
        lines.append(observed.provenance_words)
        lines += [f"read {reading}" for reading in observed.reading_words]
        lines += [f"apart, not counted: {outlier}" for outlier in observed.outlier_words]
        if comparison.correction:
            lines.append(f"proposed instead: {comparison.correction}")
        yield "Observed", lines


def _list_through(seen: InstrumentView) -> Iterator[Row]:
    if seen.meter_v is not None:
        yield "Meter reads", [print_value(seen.meter_v, "V")]
    if seen.settings is not None:
        yield "Scope", [seen.settings.sentence]
    for remark in seen.remarks or ("These instruments show the pin as it is.",):
        yield "Mind", [remark]


def _list_surroundings(card: PinCard) -> Iterator[Row]:
    """Yield the rows on the pin as a whole: its neighbours, parts, limits, notes and cautions."""
    yield "Fed by", [str(neighbour) for neighbour in card.path.fed_by]
    yield "Feeds", [str(neighbour) for neighbour in card.path.feeds]
    for part_on_pin in card.parts:
        part = part_on_pin.part
        name = f"{part.ref} {part.kind} {part.value or ''}".strip()
        description = ", ".join(
            filter(None, (name, f"to {', '.join(part_on_pin.to)}", part.purpose))
        )
        yield "Part", [f"{description}. Usual faults: {part_on_pin.usual_faults}."]
        # Repairs in the notes, by part: the nearest hint at the next fault.
        yield "Seen", [f"{part.ref} {past_case}" for past_case in card.list_past_words(part)]
    for parameter in card.parameters:
        yield "Stated", [parameter.sentence]
    if card.pin.absolute_maximum is not None:
        yield "Never above", [str(card.pin.absolute_maximum)]
    for note in card.open_remarks + card.settled_faults[: card.most_listed]:
        for revision in note.revisions:
            yield "In conflict" if note.in_conflict else "Note", [revision.sentence]
        for proposal in note.proposals:
            yield "Proposed", [f"not taken by {note.note.shop}: {proposal.sentence}"]
    if (more := len(card.settled_faults) - card.most_listed) > 0:
        where = f"pinfolio note list {card.chip.part} {card.pin.number}"
        yield "Notes", [f"{more} faults more; all: {where}"]
    for caution in card.cautions:
        yield "Caution", [caution]


def _list_identity(chip: Chip) -> Iterator[Row]:
    for supply in chip.supplies:
        pins = ", ".join(map(str, supply.pins))
        yield "Supply", [f"{supply.name} {supply.voltage} at pin {pins}"]
    yield "Systems", chip.systems
    yield "Marked also", chip.markings
    for name, relations in (("Replaces", chip.replaces), ("Similar", chip.similar)):
        for relation in relations:
            yield name, [f"{relation.part}: {relation.note or ''}".rstrip(": ")]


def _list_remarks(sheet: ChipSheet) -> Iterator[Row]:
    yield "Also known", [f"--condition '{name}'" for name in sheet.conditions[_COLUMNS:]]
    if sheet.remarks:
        places = ", ".join(dict.fromkeys(shown.note.at for shown in sheet.remarks))
        yield "Notes", [f"{len(sheet.remarks)} of shops, at {places}"]
    for caution in sheet.cautions:
        yield "Caution", [caution]


def _print_pins(console: Console, sheet: ChipSheet) -> None:
    known = [f"DC, {name}" for name in sheet.conditions[:_COLUMNS]]
    heading = ("Pin", "Symbol", "Role", "Function", *known, "Signal")
    rows = []
    for line in sheet.lines:
        pin = line.pin
        cells = (str(pin.number), pin.symbol, pin.role, pin.function)
        rows.append([*map(visible, (*cells, *line.dc[:_COLUMNS], line.signal))])
    print_long_table(console, [*map(visible, heading)], rows, unwrapped=3)


def _print_parameters(console: Console, parameters: Iterable[StatedParameter]) -> None:
    heading = ("Parameter", "Of", "Value", "Test condition, note")
    rows = []
    for stated in parameters:
        cells = (stated.name_words, stated.place_words, stated.value_words, stated.remarks)
        rows.append([*map(visible, cells)])
    print_long_table(console, heading, rows)


def print_words(console: Console, text: str, style: str = "") -> None:
    """Print a line of text from people, made visible."""
    console.print(visible(text), style=style)


def print_rows(console: Console, rows: Iterable[Row]) -> None:
    """Print labels and their values, later lines indented; a row without values is left out."""
    from rich.padding import Padding
    from rich.table import Table

    grid = Table.grid(padding=(0, 1))
    grid.add_column(width=_LABEL)
    grid.add_column(overflow="fold")
    for label, values in rows:
        if text := "; ".join(map(visible, values)):
            grid.add_row(label, text)
    if grid.row_count:
        console.print(Padding(grid, (0, 0, 0, 2)))
