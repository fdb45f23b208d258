"""The pin card and the chip sheet as tables."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Final

from ....schema.quantities import print_value
from ....schema.text import visible
from ...cards.chip_sheet import ChipSheet
from ...cards.pin_card import ConditionView, PinCard
from ...instruments.instrument_view import InstrumentView
from ..command_common import open_console

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

_LABEL: Final = 12
_COLUMNS: Final = 2  # conditions side by side that leave room for the words


def print_card(card: PinCard) -> None:
    """Print a pin card, a block for each condition."""
    console = open_console()
    _print(console, card.title, style="bold")
    _print(console, card.sentence)
    if card.chip.invented:
        _print(console, f"Invented example: {card.chip.part} by {card.chip.maker} does not exist.")
    for shown in card.conditions:
        _print_condition(console, shown)
    if card.through is not None:
        _print_through(console, card.through)
    console.print()
    _print_row(console, "Fed by", [str(neighbour) for neighbour in card.path.fed_by])
    _print_row(console, "Feeds", [str(neighbour) for neighbour in card.path.feeds])
    for on_pin in card.parts:
        part = on_pin.part
        words = [f"{part.ref} {part.kind} {part.value or ''}".strip(), f"to {', '.join(on_pin.to)}"]
        words += [part.purpose] if part.purpose else []
        _print_row(console, "Part", [f"{', '.join(words)}. Usual faults: {on_pin.usual_faults}."])
    if card.pin.absolute_maximum is not None:
        _print_row(console, "Never above", [str(card.pin.absolute_maximum)])
    for note in card.remarks:
        for revision in note.revisions:
            _print_row(console, "In conflict" if note.in_conflict else "Note", [revision.sentence])
        for proposal in note.proposals:
            _print_row(console, "Proposed", [f"not taken by {note.note.shop}: {proposal.sentence}"])
    for caution in card.cautions:
        _print_row(console, "Caution", [caution])


def print_sheet(sheet: ChipSheet) -> None:
    """Print a chip sheet with its pin table."""
    console, chip = open_console(), sheet.chip
    _print(console, f"{chip.part}  {chip.maker}  {chip.kind}  {chip.package.name}", style="bold")
    _print(console, chip.summary)
    for supply in chip.supplies:
        pins = ", ".join(map(str, supply.pins))
        _print_row(console, "Supply", [f"{supply.name} {supply.voltage} at pin {pins}"])
    _print_row(console, "Systems", chip.systems)
    _print_row(console, "Marked also", chip.markings)
    for name, relations in (("Replaces", chip.replaces), ("Similar", chip.similar)):
        for relation in relations:
            _print_row(console, name, [f"{relation.part}: {relation.note or ''}".rstrip(": ")])
    console.print(_build_pin_table(sheet))
    rest = sheet.conditions[_COLUMNS:]
    _print_row(console, "Also known", [f"--condition '{name}'" for name in rest])
    if sheet.remarks:
        places = ", ".join(dict.fromkeys(shown.note.at for shown in sheet.remarks))
        _print_row(console, "Notes", [f"{len(sheet.remarks)} of shops, at {places}"])
    for caution in sheet.cautions:
        _print_row(console, "Caution", [caution])


def _print_through(console: Console, seen: InstrumentView) -> None:
    chosen = seen.instruments
    console.print()
    names = f"{chosen.meter.name}, {chosen.probe.name}, {chosen.scope.name}"
    _print(console, f"Through {names}", style="bold")
    if seen.meter_v is not None:
        _print_row(console, "Meter reads", [print_value(seen.meter_v, "V")])
    if seen.settings is not None:
        _print_row(console, "Scope", [seen.settings.sentence])
    for remark in seen.remarks or ("These instruments show the pin as it is.",):
        _print_row(console, "Mind", [remark])


def _build_pin_table(sheet: ChipSheet) -> Table:
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1), pad_edge=False)
    for name in ("Pin", "Symbol", "Role"):
        table.add_column(name, no_wrap=True)
    table.add_column("Function", ratio=3)
    for name in sheet.conditions[:_COLUMNS]:
        table.add_column(f"DC, {visible(name)}", min_width=8)
    table.add_column("Signal", ratio=2)
    for line in sheet.lines:
        pin = line.pin
        cells = (str(pin.number), pin.symbol, pin.role, pin.function)
        table.add_row(*map(visible, (*cells, *line.dc[:_COLUMNS], line.signal)))
    return table


def _print_condition(console: Console, shown: ConditionView) -> None:
    console.print()
    _print(console, shown.condition, style="bold")
    expectation = shown.expectation
    if expectation.dc is not None:
        _print_row(console, "DC", [f"{shown.dc_value} ({shown.dc_limits})"])
    if expectation.waveform is not None:
        waveform = expectation.waveform
        if shown.has_picture:
            _print_row(console, "Signal", [f"{shown.vpp} at {shown.frequency}"])
        _print_row(console, "Shape", [waveform.describe()])
    if shown.settings is not None and shown.has_picture:
        _print_row(console, "Scope", [shown.settings.sentence])
    if expectation.resistance is not None:
        _print_row(console, "To ground", [shown.resistance_words])
    _print_row(
        console, "Note", [note for note in (expectation.beyond_supply, expectation.note) if note]
    )
    _print_row(console, "Source", [shown.source_words])
    for beside in shown.beside:
        seen = beside.observed
        words = [f"{seen.name} {seen.value_words}, {seen.range_words}", seen.provenance_words]
        words += [f"apart, not counted: {apart}" for apart in seen.outlier_words]
        words += [f"proposed instead: {beside.correction}"] if beside.correction else []
        _print_row(console, "Observed", words)


def _print(console: Console, text: str, style: str = "") -> None:
    console.print(visible(text), style=style)


def _print_row(console: Console, label: str, values: Iterable[str]) -> None:
    """Print a label and its values, later lines indented; nothing without values."""
    from rich.padding import Padding
    from rich.table import Table

    text = "; ".join(visible(value) for value in values)
    if text:
        grid = Table.grid(padding=(0, 1))
        grid.add_column(width=_LABEL)
        grid.add_column(overflow="fold")
        grid.add_row(label, text)
        console.print(Padding(grid, (0, 0, 0, 2)))
