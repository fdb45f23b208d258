"""Notes from the rows of a table: each row a note, or a reject with its line and reason."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Final, NamedTuple

from ...loaders.note_tables.note_table import NoteTable, TableRow
from ...loaders.shop.note_anchors import anchor_note, hash_chip
from ...loaders.shop.shop_folder import Shop
from ...schema import Chip
from ...schema.errors import PinfolioError
from ...schema.note import NEEDS, Note
from .note_columns import LEFT_OUT, Column
from .note_content import name_content
from .note_form import (
    READING_FIELDS,
    BadForm,
    Form,
    build_note,
    normalise_field,
    sign_form,
    spell_figure,
)
from .plausibility import list_doubts

FindChip = Callable[[str], Chip | None]
"""Returns the chip of a marking; None for one that no folio has, if that is allowed."""
Progress = Callable[[int, int, str], None]

_FORM_NAMES: Final = {"set-name": "set_name"}
_ID_BYTES: Final = 10
_DOTTED_DAY: Final = re.compile(r"([0-9]{1,2})\.([0-9]{1,2})\.([0-9]{4})")
_SLASHED_DAY: Final = re.compile(r"([0-9]{1,2})/([0-9]{1,2})/([0-9]{4})")
_ISO_DAY: Final = re.compile(r"([0-9]{4})[-/.]([0-9]{1,2})[-/.]([0-9]{1,2})(?:[ T][0-9:.]+Z?)?")
_BARE_FIGURE: Final = re.compile(r"[+-]?[0-9]*[.,]?[0-9]+")
_MOST_MONTHS: Final = 12


class Reject(NamedTuple):
    """A row that makes no note."""

    row: TableRow
    reason: str


class Repeat(NamedTuple):
    """A row that says the same as an earlier one."""

    line: int
    first_line: int


@dataclass(frozen=True)
class NoteImport:
    """What a table would bring: new notes, rows that are not taken, and why."""

    notes: tuple[Note, ...]
    rejects: tuple[Reject, ...]
    repeats: tuple[Repeat, ...]
    """Rows that are in the table more than once."""
    held: tuple[int, ...]
    """Lines of rows that the shop has as notes already."""

    @property
    def summary(self) -> str:
        """How many notes are new, and how many rows are not, in one line."""
        others = (
            *([f"{len(self.held)} here already"] if self.held else []),
            *([f"{len(self.repeats)} twice in the table"] if self.repeats else []),
            *([f"{len(self.rejects)} not taken"] if self.rejects else []),
        )
        return "; ".join([f"{len(self.notes)} new notes", *others])

    def document(self) -> dict[str, Any]:
        """Return the import as plain data."""
        return {
            "notes": [note.model_dump(mode="json", exclude_defaults=True) for note in self.notes],
            "rejects": [{"line": each.row.line, "reason": each.reason} for each in self.rejects],
            "repeats": [each._asdict() for each in self.repeats],
            "held": list(self.held),
        }


def plan_import(
    table: NoteTable,
    columns: Sequence[Column],
    values: Mapping[str, str],
    shop: Shop,
    own_notes: Iterable[Note],
    find_chip: FindChip,
    progress: Progress | None = None,
) -> NoteImport:
    """Return the notes that a table would add to a shop.

    ``values`` are those of fields where a row has none. ``own_notes`` are all revisions that the
    shop has: a row that one of them says already is not taken again, be that one changed or
    withdrawn since.
    """
    reader = _RowReader(columns, values, shop, find_chip)
    held_contents = {
        name_content(note, with_date=has_date) for note in own_notes for has_date in (True, False)
    }
    first_lines = dict[str, int]()
    notes, rejects, repeats, held = list[Note](), list[Reject](), list[Repeat](), list[int]()
    for number, row in enumerate(table.rows, start=1):
        if progress is not None:
            progress(number, len(table.rows), f"line {row.line}")
        try:
            read = reader.read(row)
        except PinfolioError as error:
            rejects.append(Reject(row, "; ".join(str(error).splitlines())))
            continue
        first_line = first_lines.setdefault(read.content, row.line)
        if read.content in held_contents:
            held.append(row.line)
        elif first_line != row.line:
            repeats.append(Repeat(row.line, first_line))
        else:
            notes.append(read.note)
    return NoteImport(tuple(notes), tuple(rejects), tuple(repeats), tuple(held))


class _ReadRow(NamedTuple):
    note: Note
    content: str
    """Names the content of the row."""


@dataclass
class _RowReader:
    """Reads rows; chips, places and conditions that occur again are looked up once."""

    columns: Sequence[Column]
    values: Mapping[str, str]
    shop: Shop
    find_chip: FindChip
    _chips: dict[str, Chip | PinfolioError | None] = field(default_factory=dict)
    _spelt: dict[tuple[str, str, str], str] = field(default_factory=dict)
    _digests: dict[str, str] = field(default_factory=dict)
    _today: date = field(default_factory=date.today)

    def read(self, row: TableRow) -> _ReadRow:
        """Return the note of a row. Raises PinfolioError with the reason why there is none."""
        if row.fault:
            raise BadForm(row.fault)
        form = self._fill_form(row)
        chip = self._find_chip(form)
        self._place(form, chip)
        for name in ("condition", "kind"):
            if name in form:
                form[name] = self._spell(name, form[name], chip)
        form.setdefault("kind", _guess_kind(form))
        _split_cause(form)
        signature = {name: form[name] for name in ("author", "date") if name in form}
        note = build_note(sign_form(self.shop) | form, id="a" * 16, shop=self.shop.handle)
        doubts = () if note.reason else list_doubts(note, chip, self._today)
        if doubts:
            raise BadForm(f"{'; '.join(doubts)}; correct it, or say why in a column 'reason'")
        content = name_content(note, with_date="date" in signature)
        named = note.model_copy(update={"id": _make_id(self.shop, content)})
        return _ReadRow(self._anchor(named, chip), content)

    def _anchor(self, note: Note, chip: Chip | None) -> Note:
        if chip is None:
            return note
        if chip.part not in self._digests:
            self._digests[chip.part] = hash_chip(chip)
        return anchor_note(note, chip, self._digests[chip.part])

    def _fill_form(self, row: TableRow) -> Form:
        form = {}
        for column, cell in zip(self.columns, row.cells, strict=True):
            text = cell.strip()
            if column.field != LEFT_OUT and text:
                form[column.field] = self._spell_cell(column, text)
        filled = {name: text for name, text in self.values.items() if text} | form
        return {_FORM_NAMES.get(name, name): text for name, text in filled.items()}

    def _spell_cell(self, column: Column, text: str) -> str:
        if column.unit and _BARE_FIGURE.fullmatch(text):
            text = f"{text} {column.unit}"
        if column.field in READING_FIELDS:
            return spell_figure(column.field, text)
        return read_day(text) if column.field == "date" else text

    def _find_chip(self, form: Form) -> Chip | None:
        if "chip" not in form:
            raise BadForm("no chip; give a column 'chip', or --value chip=PART for all rows")
        marking = form["chip"]
        if marking not in self._chips:
            try:
                self._chips[marking] = self.find_chip(marking)
            except PinfolioError as error:
                self._chips[marking] = error
        chip = self._chips[marking]
        if isinstance(chip, PinfolioError):
            raise chip
        if chip is not None:
            form["chip"] = chip.part
        return chip

    def _place(self, form: Form, chip: Chip | None) -> None:
        """Put the place of a row into the form, from its number, symbol or name.

        Raises BadForm where number and symbol name different pins.
        """
        pin, symbol, place = (form.pop(name, "") for name in ("pin", "symbol", "at"))
        written = next((text for text in (place, pin, symbol) if text), "")
        if not written:
            raise BadForm("no place; give a column 'pin', 'symbol' or 'place'")
        form["at"] = self._spell("at", written, chip)
        if symbol and chip is not None:
            by_symbol = self._spell("at", symbol, chip)
            if by_symbol != form["at"]:
                raise BadForm(
                    f"{form['at']} is not {symbol} in {chip.part}, which is {by_symbol}"
                    "; correct one of them"
                )

    def _spell(self, name: str, text: str, chip: Chip | None) -> str:
        key = (name, text, "" if chip is None else chip.part)
        if key not in self._spelt:
            self._spelt[key] = normalise_field(name, text, chip)
        return self._spelt[key]


def read_day(text: str) -> str:
    """Return a day as ``2026-11-25``: from that, with a time after it, or from ``25.11.2026``.

    Raises BadForm, also for ``3/4/2026``, which may be in March or in April.
    """
    iso, dotted, slashed = (form.fullmatch(text) for form in (_ISO_DAY, _DOTTED_DAY, _SLASHED_DAY))
    if iso is not None:
        year, month, day = map(int, iso.groups())
    elif dotted is not None:
        day, month, year = map(int, dotted.groups())
    elif slashed is not None:
        first, second, year = map(int, slashed.groups())
        if first != second and max(first, second) <= _MOST_MONTHS:
            raise BadForm(f"date: {text!r} may be either of two days; write it as 2026-11-25")
        day, month = (first, second) if first > _MOST_MONTHS else (second, first)
    else:
        raise BadForm(f"date: {text!r} is not a day; write it as 2026-11-25")
    try:
        return date(year, month, day).isoformat()
    except ValueError:
        raise BadForm(f"date: {text!r} is not a day; write it as 2026-11-25") from None


def _guess_kind(form: Form) -> str:
    """Return the kind of note that has just the fields of a row. Raises BadForm."""
    given = {name for name in form if form[name]}
    given |= {"readings"} if given.intersection(READING_FIELDS) else set()
    for kind in ("fault and remedy", "known-good reading", "remark"):
        if given.issuperset(NEEDS[kind]):
            return kind
    if "symptom" in given or "cure" in given:
        missing = "cure" if "symptom" in given else "symptom"
        raise BadForm(f"a fault needs symptom and cure; {missing} is missing")
    if "readings" in given:
        raise BadForm(
            "a reading needs the state of the set; add a column 'condition' or --value condition=X"
        )
    raise BadForm("neither a reading, a symptom nor a text; leave the row out")


_CAUSE: Final = re.compile(r"([A-Z]{1,3}[0-9]{1,5}[a-z]?)[ :,]+(\S.*)", re.DOTALL)


def _split_cause(form: Form) -> None:
    """Part a cause such as ``C712 open`` into the part and its failure, if no part is given."""
    cause = _CAUSE.fullmatch(form.get("failure", ""))
    if cause is not None and "part" not in form:
        form["part"], form["failure"] = cause.groups()


def _make_id(shop: Shop, content: str) -> str:
    """Return the id of a row's note, the same on every computer of the shop."""
    drawn = hashlib.sha256(shop.public_key + content.encode()).digest()[:_ID_BYTES]
    return base64.b32encode(drawn).decode().lower()
