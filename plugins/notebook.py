"""Chips and pins as a notebook shows them: a line of text, an HTML table, an SVG picture.

A third face beside terminal and web, for Python sessions. Jupyter calls the ``_repr_..._`` methods.

>>> from pinfolio.loaders import find_folio, open_folio
>>> with open_folio(find_folio()) as folio:
...     chip = folio.chip("TQZ5752")
>>> show_pin(chip, "SYNC IN", "colour bars")
TQZ5752 pin 13 SYNC IN, colour bars: 3.4 V, 1 Vpp, 15.625 kHz
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from ..schema import Chip
from ..schema.chips.lookup import find_pin
from ..schema.text import visible
from .cards.chip_sheet import ChipSheet, build_chip_sheet
from .cards.pictures import draw_scope_picture
from .cards.pin_card import ConditionView, PinCard, build_pin_card
from .drawing.package_drawing import draw_package
from .drawing.svg_frame import escape_svg_text


@dataclass(frozen=True, eq=False)
class ChipDisplay:
    """A chip with its package and the table of its pins."""

    sheet: ChipSheet

    def __repr__(self) -> str:
        chip = self.sheet.chip
        return visible(f"{chip.part}: {chip.kind}, {chip.package.name}, {_name_maker(chip)}")

    def _repr_svg_(self) -> str:
        """Return the package seen from the top."""
        return draw_package(self.sheet.chip, standalone=True)

    def _repr_html_(self) -> str:
        """Return a heading and the table of pins, with DC in each condition."""
        heading = ("Pin", "Symbol", "Role", "Function", *self.sheet.conditions, "Signal")
        rows = (
            (
                str(line.pin.number),
                line.pin.symbol,
                line.pin.role,
                line.pin.function,
                *line.dc,
                line.signal,
            )
            for line in self.sheet.lines
        )
        return f"<p>{escape_svg_text(repr(self))}</p>{_build_table(heading, rows)}"


@dataclass(frozen=True, eq=False)
class PinDisplay:
    """A pin with its expected values in each condition, and the picture of the first."""

    card: PinCard

    def __repr__(self) -> str:
        shown = self.card.shown
        return visible(self.card.title + (f", {_describe_condition(shown)}" if shown else ""))

    def _repr_svg_(self) -> str | None:
        """Return the oscilloscope's screen; None without a signal."""
        return draw_scope_picture(self.card, standalone=True)

    def _repr_html_(self) -> str:
        """Return the function, the table of conditions and the cautions, with the picture."""
        heading = ("Condition", "DC", "Peak to peak", "Frequency", "Source")
        rows = (
            (view.condition, view.dc_value, view.vpp, view.frequency, view.source_words)
            for view in self.card.conditions
        )
        cautions = "".join(f"<li>{escape_svg_text(text)}</li>" for text in self.card.cautions)
        return (
            f"<p><b>{escape_svg_text(self.card.title)}</b>: {escape_svg_text(self.card.sentence)}"
            f"</p>{_build_table(heading, rows)}{draw_scope_picture(self.card) or ''}"
            f"<ul>{cautions}</ul>"
        )


def show_chip(chip: Chip, condition: str | None = None) -> ChipDisplay:
    """Return a chip for display; with ``condition`` the table has that one column of DC."""
    return ChipDisplay(build_chip_sheet(chip, condition))


def show_pin(chip: Chip, name: str | int, condition: str | None = None) -> PinDisplay:
    """Return a pin for display, by number or symbol, in every condition or in one.

    Raises UnknownPin and UnknownCondition.
    """
    return PinDisplay(build_pin_card(chip, find_pin(chip, str(name)), condition))


def _name_maker(chip: Chip) -> str:
    """Return the maker, marked as invented where the chip is."""
    return f"{chip.maker} (invented)" if chip.invented else chip.maker


def _describe_condition(view: ConditionView) -> str:
    """Return a condition with its DC voltage, peak to peak and frequency, as far as given."""
    figures = ", ".join(filter(None, (view.dc_value, view.vpp, view.frequency)))
    return f"{view.condition}: {figures}" if figures else view.condition


def _build_table(heading: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Return an HTML table; every cell is escaped."""
    cells = "".join(f"<th>{escape_svg_text(text)}</th>" for text in heading)
    body = "".join(
        f"<tr>{''.join(f'<td>{escape_svg_text(text)}</td>' for text in row)}</tr>" for row in rows
    )
    return f"<table><thead><tr>{cells}</tr></thead><tbody>{body}</tbody></table>"
