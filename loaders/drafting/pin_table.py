"""The pins that tables describe: texts, quantities and DC voltages, each with its place."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from ...schema.quantities import Quantity
from ..scans.scanned_page import ScannedCell
from .text_table import Place, Unread

MOST_PINS: Final = 304
"""The most pins that a package has."""


@dataclass(frozen=True)
class DcValue:
    """A DC voltage with its place and the mark of its footnote."""

    quantity: Quantity
    place: Place
    mark: str = ""


@dataclass
class TablePin:
    """Everything that the tables say about one pin."""

    number: int
    place: Place
    texts: dict[str, str] = field(default_factory=dict)
    """``symbol``, ``function``, ``role``, ``waveform`` and ``ac``, as far as they are given."""
    quantities: dict[str, Quantity] = field(default_factory=dict)
    """``absolute_maximum``, ``resistance``, ``capacitance``, ``vpp``, ``frequency``, ``red_on_pin``
    and ``black_on_pin``, as far as they are given."""
    dc: dict[str, DcValue] = field(default_factory=dict)
    """DC voltage by state of the set; the state is empty if the table names none."""
    unreadable: dict[str, str] = field(default_factory=dict)
    """Cells that could not be read, by the field they belong to: a key, or ``dc@`` and a state."""
    signal_place: Place | None = None
    """The place of the signal and of the resistances to ground, if there are any."""
    scanned: dict[str, ScannedCell] = field(default_factory=dict)
    """Values that were recognised on a scanned page, by field as in ``unreadable``."""


@dataclass(frozen=True)
class DoubtfulCell:
    """A cell of a scanned page whose text is not used until a person compares it."""

    about: str
    """Its heading and the text of its row."""
    cell: ScannedCell


@dataclass(frozen=True)
class TableParameter:
    """A characteristic with its place: of pins, or of the whole chip if there are none."""

    name: str
    symbol: str
    pins: tuple[int, ...]
    value: Quantity
    place: Place
    test_condition: str = ""
    mark: str = ""
    """Mark of its footnote."""
    review: str = ""
    """The reason to look at it again; empty where the row itself says everything."""
    scanned: ScannedCell | None = None
    """The row as it was recognised on a scanned page; None elsewhere."""


@dataclass(frozen=True)
class PinTable:
    """The pins in the order of their numbers, the meaning of each column, and unused text."""

    pins: tuple[TablePin, ...]
    explained: tuple[str, ...]
    """Encoding, delimiter and the meaning of each column, as lines for --explain."""
    unread: tuple[Unread, ...]
    footnotes: dict[str, str]
    """Text of each footnote mark, where it is found below a table."""
    words: str = ""
    """Text around the tables, which may name part, package and kind."""
    title: str = ""
    """The title of the sheet; empty if it has none."""
    parameters: tuple[TableParameter, ...] = ()
    """Characteristics, in the order of the tables."""
    doubtful: tuple[DoubtfulCell, ...] = ()
    """Cells of scanned pages whose text was doubted, in the order of the tables."""
    has_scans: bool = False
    """True if pages without text were left out, as of a scan."""
