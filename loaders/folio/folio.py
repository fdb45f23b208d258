"""Read a folio: chips and notes as typed models, and searches."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from functools import cached_property, lru_cache
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Final, NamedTuple, Self

from ...schema.errors import Unknown
from ...schema.text import part_key
from ..words.full_text_query import build_match_query
from .chip_search import CHIP_COLUMNS, ChipRow, MarkingSearch, to_chip_row
from .folio_file import FolioError, build_command, connect_folio
from .word_search import WordSearch

if TYPE_CHECKING:
    from ...schema.chip import Chip
    from ...schema.note import Note

_DOCUMENT: Final = "SELECT zlib FROM chip JOIN chip_document ON chip_document.chip = chip.part"

_NO_LIMIT: Final = -1  # as SQLite counts
_NOTE_WEIGHTS: Final = "4, 4, 4, 4, 2, 2, 1, 1, 1"
"""Weights of the columns of ``note_fts``: place and symptom before cure, and that before text."""
_BEST_CONFIRMED: Final = (
    "CASE confidence WHEN 'always' THEN 2 WHEN 'several times' THEN 1 ELSE 0 END DESC,"
    " sets DESC, date DESC, note, digest"
)


class FolioInfo(NamedTuple):
    """Build time and counts of a folio; ``digest`` is the SHA-256 of its contents."""

    built: str
    chips: int
    pins: int
    digest: str
    all_invented: bool
    notes: int


class AttachedFile(NamedTuple):
    """A capture or picture attached to a note."""

    media: str
    """Media type: ``text/csv``, ``image/png`` or ``image/jpeg``."""
    data: bytes


class UnknownPart(Unknown):
    """No chip, or more than one, has this marking; ``nearest`` lists similar part numbers."""

    def __init__(self, part: str, nearest: tuple[str, ...]) -> None:
        self.part, self.nearest = part, nearest
        hint = f"; the nearest are {', '.join(nearest)}" if nearest else ""
        super().__init__(f"no chip {part!r} in this folio{hint}")


def open_folio(path: Path) -> Folio:
    """Open a folio for reading; use it as a context manager, or close it.

    Raises FolioError, whose message ends with the command that repairs the folio.
    """
    return Folio(connect_folio(path))


class Folio(MarkingSearch, WordSearch):
    """An open folio. Its methods raise FolioError when the folio is damaged."""

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
        built, chips, pins, digest, all_invented, notes = self._query_rows(
            "SELECT built, chips, pins, digest, all_invented, notes FROM folio"
        )[0]
        return FolioInfo(built, chips, pins, digest, bool(all_invented), notes)

    def chip(self, part: str) -> Chip:
        """Return the chip with this part number, or with this marking if only one chip bears it.

        Case, spaces and dashes are ignored. Raises UnknownPart.
        """
        key = part_key(part)
        rows = self._query_rows(f"{_DOCUMENT} WHERE chip.part_key = ?", key)
        if not rows:
            # A second row is read only to see that the marking is ambiguous.
            rows = self._query_rows(
                f"{_DOCUMENT} WHERE chip.part IN (SELECT chip FROM marking WHERE key = ?) LIMIT 2",
                key,
            )
        if len(rows) != 1:
            raise UnknownPart(part, self.nearest_parts(part))
        ((document,),) = rows
        return _read_document(document)

    def chips(self) -> Iterator[Chip]:
        """Yield every chip, ordered by part number."""
        for (part,) in self._query_rows("SELECT part FROM chip ORDER BY part_key"):
            yield self.chip(part)

    def parts(
        self, limit: int = -1, start: int = 0, kinds: Sequence[str] | None = None
    ) -> list[ChipRow]:
        """Return the list of chips, ordered by part number: ``limit`` of them from ``start`` on.

        ``kinds`` keeps to chips of these kinds.
        """
        condition = "" if kinds is None else "WHERE kind IN (SELECT value FROM json_each(?))"
        condition_values = () if kinds is None else (json.dumps(kinds),)
        rows = self._query_rows(
            f"SELECT {CHIP_COLUMNS} FROM chip {condition} ORDER BY part_key LIMIT ? OFFSET ?",
            *condition_values,
            limit,
            start,
        )
        return [to_chip_row(row) for row in rows]

    def other_markings(self, parts: Sequence[str]) -> dict[str, list[str]]:
        """Return the markings of these chips besides their part numbers, by part number."""
        rows = self._query_rows(
            "SELECT chip, text FROM marking JOIN json_each(?) ON chip = value"
            " WHERE text <> chip ORDER BY chip, text",
            json.dumps(parts),
        )
        markings_of: dict[str, list[str]] = {}
        for part, marking in rows:
            markings_of.setdefault(part, []).append(marking)
        return markings_of

    def every_part(self, step: int) -> list[str]:
        """Return the first part number and every ``step``-th after it, in order."""
        rows = self._query_rows(
            "SELECT part FROM (SELECT part, row_number() OVER (ORDER BY part_key) AS at FROM chip)"
            " WHERE (at - 1) % ? = 0 ORDER BY at",
            step,
        )
        return [part for (part,) in rows]

    def facets(self) -> dict[str, list[tuple[str, int]]]:
        """Return the values to filter by, for ``kind``, ``package``, ``system`` and ``role``.

        Each comes with its number of chips (pins for a role), the commonest first.
        """
        values_of: dict[str, list[tuple[str, int]]] = {}
        for name, value, count in self._query_rows(
            "SELECT name, value, count FROM facet ORDER BY name, count DESC, value"
        ):
            values_of.setdefault(name, []).append((value, count))
        return values_of

    def notes(
        self, part: str, places: Sequence[str] | None = None, limit: int | None = None
    ) -> list[Note]:
        """Return the notes on a chip, or on some places of it: best confirmed first, then newest.

        ``part`` is the part number. ``places`` are spelt as a note's ``at``: ``pin 17``, or the id
        of a node, block or part. A note in conflict comes in each of its newest revisions.
        """
        condition = "" if places is None else f" AND place IN ({', '.join('?' * len(places))})"
        rows = self._query_rows(
            f"SELECT document FROM note WHERE chip = ?{condition}"
            f" ORDER BY {_BEST_CONFIRMED} LIMIT ?",
            part,
            *(places or ()),
            _NO_LIMIT if limit is None else limit,
        )
        return self._count_shops(_read_note(document) for (document,) in rows)

    def proposals(self, notes: Iterable[Note]) -> list[Note]:
        """Return the open edits of ``notes`` by other shops than their own, by date.

        A folio of version 0.1 has none.
        """
        if not self._query_rows("SELECT 1 FROM sqlite_master WHERE name = 'proposal'"):
            return []
        rows = self._query_rows(
            "SELECT document FROM proposal WHERE note IN (SELECT value FROM json_each(?))"
            " ORDER BY json_extract(document, '$.date'), digest",
            json.dumps(sorted({note.id for note in notes})),
        )
        return self._count_shops(_read_note(document) for (document,) in rows)

    def latest_notes(self, limit: int = 50, offset: int = 0) -> list[Note]:
        """Return the newest notes of the folio, after the first ``offset``."""
        rows = self._query_rows(
            "SELECT document FROM note ORDER BY date DESC, note, digest LIMIT ? OFFSET ?",
            limit,
            offset,
        )
        return self._count_shops(_read_note(document) for (document,) in rows)

    def count_notes(self, terms: Sequence[Sequence[str]]) -> int:
        """Return how many notes contain every term, as ``search_notes`` finds them."""
        query = build_match_query(terms)
        if query is None:
            return 0
        ((count,),) = self._query_rows(
            "SELECT count(*) FROM note_fts WHERE note_fts MATCH ?", query
        )
        return int(count)

    def search_notes(
        self, terms: Sequence[Sequence[str]], limit: int = 50, offset: int = 0
    ) -> list[Note]:
        """Return the notes that contain every term, best match first, after the first ``offset``.

        Chip, place, part, symptom, failure, cure and text are searched. ``terms`` holds the
        wordings of each term, as from ``Thesaurus.expand``.
        """
        query = build_match_query(terms)
        if query is None:
            return []
        # Digest last: without a full order, pages of results could overlap.
        rows = self._query_rows(
            "SELECT note.document FROM note_fts JOIN note ON note.id = note_fts.rowid"
            f" WHERE note_fts MATCH ? ORDER BY bm25(note_fts, {_NOTE_WEIGHTS}),"
            " date DESC, note, digest LIMIT ? OFFSET ?",
            query,
            limit,
            offset,
        )
        return self._count_shops(_read_note(document) for (document,) in rows)

    def _count_shops(self, notes: Iterable[Note]) -> list[Note]:
        """Return the notes, with the shops whose key nobody compared counted as one."""
        notes = list(notes)
        query = "SELECT 1 FROM sqlite_master WHERE name = 'uncompared_shop'"
        if not notes or not self._query_rows(query):
            return notes
        from ...schema.note import UNCOMPARED

        uncompared = {shop for (shop,) in self._query_rows("SELECT shop FROM uncompared_shop")}
        return [note.count_as(UNCOMPARED) if note.shop in uncompared else note for note in notes]

    def attachment(self, sha256: str) -> AttachedFile | None:
        """Return the attachment with this SHA-256; None if the folio does not hold it."""
        rows = self._query_rows("SELECT media, bytes FROM attachment WHERE sha256 = ?", sha256)
        return AttachedFile(*rows[0]) if rows else None

    def attachment_sizes(self, digests: Iterable[str]) -> dict[str, tuple[int, int] | None]:
        """Return the attachments the folio holds, of those with these SHA-256 digests.

        The value is width and height in pixels for a picture, None for a capture.
        """
        rows = self._query_rows(
            "SELECT sha256, width, height FROM attachment"
            " WHERE sha256 IN (SELECT value FROM json_each(?))",
            json.dumps(list(digests)),
        )
        return {sha256: (width, height) if width else None for sha256, width, height in rows}


# Models are imported when the first one is read: most queries need rows only.


@lru_cache(maxsize=64)  # a technician looks at one pin of a chip after another
def _read_document(data: bytes) -> Chip:
    from ...schema.chip import Chip
    from ...schema.stored import read_stored
    from .packed_document import unpack_document

    try:
        return read_stored(Chip, json.loads(unpack_document(data)))
    except (ValueError, RecursionError) as error:
        raise FolioError(
            f"a chip in the folio cannot be read back ({error}); build it again: {build_command()}"
        ) from error


@lru_cache(maxsize=512)  # each step of a hunt reads the notes on its chip again
def _read_note(document: str) -> Note:
    from ...schema.note import Note
    from ...schema.stored import read_stored

    try:
        return read_stored(Note, json.loads(document))
    except (ValueError, RecursionError) as error:
        raise FolioError(
            f"a note in the folio cannot be read back ({error}); build it again: {build_command()}"
        ) from error
