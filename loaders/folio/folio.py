"""A folio, read back: its chips as typed models, and the searches it is asked for."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Final, Self

from ...schema.errors import Unknown
from ...schema.text import part_key
from ..words.full_text_query import build_match_query
from .chip_search import CHIP_COLUMNS, ChipRow, MarkingSearch, chip_row
from .folio_file import FolioError, build_command, connect_folio
from .word_search import WordSearch

if TYPE_CHECKING:
    from ...schema import Chip
    from ...schema.note import Note

_DOCUMENT: Final = "SELECT zlib FROM chip JOIN chip_document ON chip_document.chip = chip.part"

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
class AttachedFile:
    """A capture or a picture that is attached to a note."""

    media: str
    """Its media type: ``text/csv``, ``image/png`` or ``image/jpeg``."""
    data: bytes


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
    return Folio(connect_folio(path))


class Folio(MarkingSearch, WordSearch):
    """A folio behind an open connection; whoever opened the connection closes it.

    Rows are read by position, so that any ``row_factory`` that makes sequences will do.
    """

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
        found = self._rows(f"{_DOCUMENT} WHERE chip.part_key = ?", key)
        if not found:
            found = self._rows(
                f"{_DOCUMENT} WHERE chip.part IN (SELECT chip FROM marking WHERE key = ?) LIMIT 2",
                key,
            )
        if len(found) != 1:
            raise UnknownPart(part, self.nearest_parts(part))
        return _read_document(found[0][0])

    def chips(self) -> Iterator[Chip]:
        """Every chip, one after another, ordered by part number."""
        for (part,) in self._rows("SELECT part FROM chip ORDER BY part_key"):
            yield self.chip(part)

    def parts(self, limit: int = -1, start: int = 0) -> list[ChipRow]:
        """A line about every chip, ordered by part number; or about ``limit`` from ``start`` on."""
        rows = self._rows(
            f"SELECT {CHIP_COLUMNS} FROM chip ORDER BY part_key LIMIT ? OFFSET ?", limit, start
        )
        return [chip_row(row) for row in rows]

    def other_markings(self, parts: Sequence[str]) -> dict[str, list[str]]:
        """What else is printed on these chips than their part numbers; of most, nothing."""
        rows = self._rows(
            "SELECT chip, text FROM marking JOIN json_each(?) ON chip = value"
            " WHERE text <> chip ORDER BY chip, text",
            json.dumps(parts),
        )
        found: dict[str, list[str]] = {}
        for part, marking in rows:
            found.setdefault(part, []).append(marking)
        return found

    def every_part(self, step: int) -> list[str]:
        """The first part number and every ``step``-th after it, in their order."""
        rows = self._rows(
            "SELECT part FROM (SELECT part, row_number() OVER (ORDER BY part_key) AS at FROM chip)"
            " WHERE (at - 1) % ? = 0 ORDER BY at",
            step,
        )
        return [part for (part,) in rows]

    def facets(self) -> dict[str, list[tuple[str, int]]]:
        """What answers can be kept to, by ``kind``, ``package``, ``system`` and ``role``: each
        with how many chips have it (of a role, how many pins), the commonest first."""
        found: dict[str, list[tuple[str, int]]] = {}
        for name, value, count in self._rows(
            "SELECT name, value, count FROM facet ORDER BY name, count DESC, value"
        ):
            found.setdefault(name, []).append((value, count))
        return found

    def fault_dictionary(self, part: str) -> bytes | None:
        """What was worked out of a chip, by its part number, when the folio was built; None where
        nothing was."""
        rows = self._rows("SELECT bytes FROM fault_dictionary WHERE chip = ?", part)
        return rows[0][0] if rows else None

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
        query = build_match_query(terms)
        if query is None:
            return []
        rows = self._rows(
            "SELECT note.document FROM note_fts JOIN note ON note.id = note_fts.rowid"
            " WHERE note_fts MATCH ? ORDER BY bm25(note_fts, 4, 4, 4, 4, 2, 2, 1, 1, 1),"
            " date DESC, note, digest LIMIT ?",
            query,
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


# The models are imported when one is read: most questions are answered from rows alone.


@lru_cache(maxsize=64)  # who looks at one pin of a chip looks at the next; a chip never changes
def _read_document(data: bytes) -> Chip:
    from pydantic import ValidationError

    from ...schema import Chip
    from .packed_document import unpack_document

    try:
        return Chip.model_validate_json(unpack_document(data))
    except ValueError as fault:
        count = f" ({fault.error_count()} faults)" if isinstance(fault, ValidationError) else ""
        raise FolioError(
            f"a chip in this folio does not read back{count}; build it again: {build_command()}"
        ) from fault


def _read_note(document: str) -> Note:
    from pydantic import ValidationError

    from ...schema.note import Note

    try:
        return Note.model_validate_json(document)
    except ValidationError as fault:
        raise FolioError(
            f"a note in this folio does not read back ({fault.error_count()} faults);"
            f" build it again: {build_command()}"
        ) from fault
