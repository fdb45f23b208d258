"""A folio, read back: its chips as typed models, and the searches it is asked for."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

from pydantic import ValidationError

from ..schema import Chip
from ..schema.note import Note
from ..schema.refusals import Unknown
from ..schema.text import part_key
from .folio_file import FolioError, build_command, check_folio_file
from .word_search import match_query

_CHIP_COLUMNS: Final = (
    "chip.part, chip.maker, chip.kind, chip.summary, chip.package, chip.pin_count, chip.invented"
)

_BEST_CONFIRMED: Final = (
    "CASE confidence WHEN 'always' THEN 2 WHEN 'several times' THEN 1 ELSE 0 END DESC,"
    " sets DESC, date DESC, note, digest"
)


@dataclass(frozen=True)
class FolioInfo:
    """What a folio says of itself; ``digest`` is the SHA-256 of all it holds."""

    built: str
    chips: int
    pins: int
    digest: str
    all_invented: bool
    notes: int


@dataclass(frozen=True)
class ChipRow:
    """One line about a chip, for lists."""

    part: str
    maker: str
    kind: str
    summary: str
    package: str
    pins: int
    invented: bool


@dataclass(frozen=True)
class MarkedChip:
    """A chip found by what is printed on it, and the marking that fits."""

    chip: ChipRow
    marking: str


@dataclass(frozen=True)
class AttachedFile:
    """A capture or a picture that is attached to a note."""

    media: str
    """Its media type: ``text/csv``, ``image/png`` or ``image/jpeg``."""
    data: bytes


@dataclass(frozen=True)
class PinRow:
    """One line about a pin; ``blocks`` are the stages its signal enters or leaves."""

    part: str
    number: int
    symbol: str
    function: str
    role: str
    blocks: str


class UnknownPart(Unknown):
    """No chip, or more than one, is marked like this; ``nearest`` are the parts that come near."""

    def __init__(self, part: str, nearest: tuple[str, ...]) -> None:
        self.part, self.nearest = part, nearest
        hint = f"; the nearest are {', '.join(nearest)}" if nearest else ""
        super().__init__(f"no chip {part!r} in this folio{hint}")


def open_folio(path: Path) -> Folio:
    """Open a folio for reading; raise FolioError, with the command that mends it.

    The file is opened as immutable: it is built whole and renamed into place, never changed.
    """
    check_folio_file(path)
    address = f"{path.resolve().as_uri()}?mode=ro&immutable=1"
    try:
        connection = sqlite3.connect(address, uri=True)
        connection.execute("SELECT digest FROM folio").fetchone()
    except sqlite3.Error as fault:
        raise FolioError(
            f"{path}: the folio is damaged ({fault}); build it again: {build_command(path)}"
        ) from None
    return Folio(connection)


class Folio:
    """A folio behind an open connection; whoever opened the connection closes it.

    Rows are read by position, so that any ``row_factory`` that makes sequences will do.
    """

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the connection."""
        self._connection.close()

    @cached_property
    def info(self) -> FolioInfo:
        """Build time, counts and digest."""
        built, chips, pins, digest, all_invented, notes = self._rows(
            "SELECT built, chips, pins, digest, all_invented, notes FROM folio"
        )[0]
        return FolioInfo(built, chips, pins, digest, bool(all_invented), notes)

    def chip(self, part: str) -> Chip:
        """The chip with this part number, or this marking when only one chip bears it.

        Case, spaces and dashes do not matter. Raises UnknownPart.
        """
        key = part_key(part)
        found = self._rows("SELECT document FROM chip WHERE part_key = ?", key)
        if not found:
            found = self._rows(
                "SELECT document FROM chip"
                " WHERE part IN (SELECT chip FROM marking WHERE key = ?) LIMIT 2",
                key,
            )
        if len(found) != 1:
            raise UnknownPart(part, self.nearest_parts(part))
        return _read_document(found[0][0])

    def chips(self) -> Iterator[Chip]:
        """Every chip, one after another, ordered by part number."""
        for (part,) in self._rows("SELECT part FROM chip ORDER BY part_key"):
            yield self.chip(part)

    def parts(self) -> list[ChipRow]:
        """A line about every chip, ordered by part number."""
        rows = self._rows(f"SELECT {_CHIP_COLUMNS} FROM chip ORDER BY part_key")
        return [_chip_row(row) for row in rows]

    def parts_where(
        self, kind: str | None = None, package: str | None = None, system: str | None = None
    ) -> frozenset[str]:
        """Part numbers of the chips of a kind, in a package (``SDIP-52`` or ``SDIP``), for a
        television system; case does not matter, and what is None does not count."""
        wanted = [
            ("kind = ? COLLATE NOCASE", kind),
            ("? COLLATE NOCASE IN (package, family)", package),
            ("part IN (SELECT chip FROM chip_system WHERE system = ? COLLATE NOCASE)", system),
        ]
        given = [(sql, value) for sql, value in wanted if value]
        where = " AND ".join(sql for sql, _ in given) or "1"
        rows = self._rows(f"SELECT part FROM chip WHERE {where}", *(v for _, v in given))
        return frozenset(part for (part,) in rows)

    def nearest_parts(self, text: str, limit: int = 5) -> tuple[str, ...]:
        """Part numbers whose markings are fewest slips away from ``text``, nearest first.

        A slip is a character wrong, missing, too many, or two swapped (optimal string
        alignment); beyond half the length nothing is called near.
        """
        from rapidfuzz import process
        from rapidfuzz.distance import OSA

        rows = self._rows("SELECT key, chip FROM marking ORDER BY key, chip")
        found = process.extract(
            part_key(text),
            [key for key, _ in rows],
            scorer=OSA.normalized_similarity,
            score_cutoff=0.5,
            limit=None,
        )
        return tuple(dict.fromkeys(rows[index][1] for _, _, index in found))[:limit]

    def markings(self) -> list[tuple[str, str]]:
        """Every marking with the part number of the chip that bears it, in order."""
        rows = self._rows("SELECT text, chip FROM marking ORDER BY key, chip")
        return [(text, chip) for text, chip in rows]

    def chips_by_key(self, key: str) -> list[MarkedChip]:
        """Chips with a marking whose ``part_key`` is ``key``."""
        return self._marked("marking.key = ?", (key,), -1)

    def chips_by_prefix(self, key: str, limit: int = 20) -> list[MarkedChip]:
        """Chips with a marking whose ``part_key`` begins with ``key``."""
        # As a range the prefix can use the index; with LIKE it would be a scan.
        return self._marked(
            "marking.key >= ? AND marking.key < ?", (key, key + "\U0010ffff"), limit
        )

    def chips_by_fragment(self, key: str, limit: int = 20) -> list[MarkedChip]:
        """Chips with a marking whose ``part_key`` holds ``key`` anywhere, shortest first."""
        return self._marked("instr(marking.key, ?) > 0", (key,), limit)

    def _marked(self, where: str, values: tuple[str, ...], limit: int) -> list[MarkedChip]:
        """One line a chip, with the shortest marking that fits."""
        rows = self._rows(
            f"SELECT {_CHIP_COLUMNS}, marking.text, min(length(marking.key)) AS size"
            f" FROM marking JOIN chip ON chip.part = marking.chip WHERE {where}"
            " GROUP BY chip.part ORDER BY size, chip.part_key LIMIT ?",
            *values,
            limit,
        )
        return [MarkedChip(_chip_row(row), row[7]) for row in rows]

    def search_chips(self, terms: Sequence[Sequence[str]], limit: int = 20) -> list[ChipRow]:
        """Chips whose part, markings, maker, kind or summary say every term, best first.

        ``terms`` holds the wordings of each term, as ``Thesaurus.expand`` gives them.
        """
        rows = self._searched(
            f"SELECT {_CHIP_COLUMNS} FROM chip_fts JOIN chip ON chip.rowid = chip_fts.rowid"
            " WHERE chip_fts MATCH ? ORDER BY bm25(chip_fts, 8, 8, 2, 4, 1), part_key LIMIT ?",
            terms,
            limit,
        )
        return [_chip_row(row) for row in rows]

    def search_pins(
        self,
        terms: Sequence[Sequence[str]],
        limit: int = 20,
        parts: Sequence[str] | None = None,
    ) -> list[PinRow]:
        """Pins whose symbol, function, role or stages say every term, best first.

        ``terms`` holds the wordings of each term, as ``Thesaurus.expand`` gives them; ``parts``
        are the part numbers of the only chips to look at.
        """
        among = "" if parts is None else f" AND pin.chip IN ({', '.join('?' * len(parts))})"
        rows = self._searched(
            "SELECT pin.chip, pin.number, pin.symbol, pin.function, pin.role, pin.blocks"
            f" FROM pin_fts JOIN pin ON pin.id = pin_fts.rowid WHERE pin_fts MATCH ?{among}"
            " ORDER BY bm25(pin_fts, 4, 4, 1, 1), pin.chip, pin.number LIMIT ?",
            terms,
            *(parts or ()),
            limit,
        )
        return [PinRow(*row) for row in rows]

    def notes(
        self, part: str, places: Sequence[str] | None = None, limit: int | None = None
    ) -> list[Note]:
        """Notes on a chip, given by its part number, or on some places of it; best confirmed
        first, then newest. A note in conflict is there in each of its newest revisions.

        ``places`` are as a note's ``at``: ``pin 17``, the id of a node or block, a part.
        """
        only = "" if places is None else f" AND place IN ({', '.join('?' * len(places))})"
        rows = self._rows(
            f"SELECT document FROM note WHERE chip = ?{only} ORDER BY {_BEST_CONFIRMED} LIMIT ?",
            part,
            *(places or ()),
            -1 if limit is None else limit,
        )
        return [_read_note(document) for (document,) in rows]

    def latest_notes(self, limit: int = 50) -> list[Note]:
        """The newest notes of the folio."""
        rows = self._rows(
            "SELECT document FROM note ORDER BY date DESC, note, digest LIMIT ?", limit
        )
        return [_read_note(document) for (document,) in rows]

    def search_notes(self, terms: Sequence[Sequence[str]], limit: int = 50) -> list[Note]:
        """Notes whose chip, place, part, symptom, failure, cure or text say every term, best first.

        ``terms`` holds the wordings of each term, as ``Thesaurus.expand`` gives them.
        """
        rows = self._searched(
            "SELECT note.document FROM note_fts JOIN note ON note.id = note_fts.rowid"
            " WHERE note_fts MATCH ? ORDER BY bm25(note_fts, 4, 4, 4, 4, 2, 2, 1, 1, 1),"
            " date DESC, note, digest LIMIT ?",
            terms,
            limit,
        )
        return [_read_note(document) for (document,) in rows]

    def attachment(self, sha256: str) -> AttachedFile | None:
        """The attached file with these bytes, by their SHA-256; None where it is not held."""
        found = self._rows("SELECT media, bytes FROM attachment WHERE sha256 = ?", sha256)
        return AttachedFile(*found[0]) if found else None

    def attachment_sizes(self, digests: Iterable[str]) -> dict[str, tuple[int, int] | None]:
        """Of these attachments those that are held: width and height in pixels of a picture,
        None for a capture, by SHA-256."""
        rows = self._rows(
            "SELECT sha256, width, height FROM attachment"
            " WHERE sha256 IN (SELECT value FROM json_each(?))",
            json.dumps(list(digests)),
        )
        return {sha256: (width, height) if width else None for sha256, width, height in rows}

    def _searched(self, sql: str, terms: Sequence[Sequence[str]], *more: str | int) -> list[Any]:
        query = match_query(terms)
        return [] if query is None else self._rows(sql, query, *more)

    def _rows(self, sql: str, *values: str | int) -> list[Any]:
        try:
            return self._connection.execute(sql, values).fetchall()
        except sqlite3.Error as fault:
            raise FolioError(
                f"the folio is damaged ({fault}); build it again: {build_command()}"
            ) from fault


def _chip_row(row: Sequence[Any]) -> ChipRow:
    part, maker, kind, summary, package, pins, invented = row[:7]
    return ChipRow(part, maker, kind, summary, package, pins, bool(invented))


def _read_document(document: str) -> Chip:
    try:
        return Chip.model_validate_json(document)
    except ValidationError as fault:
        raise FolioError(
            f"a chip in this folio does not read back ({fault.error_count()} faults);"
            f" build it again: {build_command()}"
        ) from fault


def _read_note(document: str) -> Note:
    try:
        return Note.model_validate_json(document)
    except ValidationError as fault:
        raise FolioError(
            f"a note in this folio does not read back ({fault.error_count()} faults);"
            f" build it again: {build_command()}"
        ) from fault
