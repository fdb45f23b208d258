"""Chip files and notes become a folio: built beside its place, checked, then renamed into it.

Whoever reads the old folio keeps a whole one, whatever happens here; what fails leaves the old
folio as it was and nothing else behind.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import closing
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path
from typing import Protocol

from ..schema import Chip
from ..schema.note import Note
from ..schema.text import part_key
from .attachment_rows import attachment_rows
from .build_sources import find_sources
from .chip_file import load_chip
from .faults import ChipFileError, Fault
from .folio import FolioInfo
from .folio_file import APPLICATION_ID, SCHEMA_VERSION, FolioError, build_command
from .folio_place import put_in_place
from .folio_rows import Row, chip_rows
from .note_rows import newest_of_each, note_rows

NamedChip = tuple[str, Chip]
"""A chip and the file (or other place) it comes from, for messages."""

Extra = Callable[[Chip], bytes | None]
"""What is worked out of a chip and kept beside it, its fault dictionary; None keeps nothing."""


class Progress(Protocol):
    """Whoever wants to know how a build goes on."""

    def __call__(self, done: int, total: int, what: str) -> None:
        """Told after each chip: how many are done, of how many (0: not known), and which."""


def build_folio(
    sources: Iterable[Path],
    out: Path,
    progress: Progress | None = None,
    extra: Extra | None = None,
) -> FolioInfo:
    """Build ``out`` from chip files, note files, folders of both and shops' folders.

    What is attached to the notes goes in with them, and what ``extra`` makes of each chip. Raises
    ChipFileError or NoteFileError with the faults of all files together, or FolioError when the
    folio cannot be written; ``out`` then stays as it was.
    """
    found = find_sources(sources)
    if not found.chip_files:
        raise FolioError(f"no chip files found; name some: {build_command(out)}")
    chips = _load_all(found.chip_files)
    total = len(found.chip_files)
    return _build(chips, found.notes, found.attached, out, progress, total, extra)


def build_from_chips(
    chips: Iterable[Chip],
    out: Path,
    progress: Progress | None = None,
    notes: Iterable[Note] = (),
    attached: Mapping[str, Path] | None = None,
    extra: Extra | None = None,
) -> FolioInfo:
    """Build ``out`` from chips and notes at hand; otherwise as ``build_folio``.

    ``attached`` says where files are that the notes name, by the name they are kept under.
    """
    named = ((chip.part, chip) for chip in chips)
    return _build(named, notes, attached or {}, out, progress, 0, extra)


def _load_all(paths: Iterable[Path]) -> Iterator[NamedChip]:
    """The chips of the files; the faults of all of them are raised at the end."""
    faults: list[Fault] = []
    for path in paths:
        try:
            yield str(path), load_chip(path)
        except ChipFileError as refused:
            faults += refused.faults
    if faults:
        raise ChipFileError(tuple(faults))


def _build(
    named: Iterable[NamedChip],
    notes: Iterable[Note],
    attached: Mapping[str, Path],
    out: Path,
    progress: Progress | None,
    total: int,
    extra: Extra | None,
) -> FolioInfo:
    with put_in_place(out) as new, closing(_create(new)) as connection:
        chips, pins, all_invented = _insert_all(
            connection, _each_once(named), progress, total, extra
        )
        counted = _insert_notes(connection, newest_of_each(notes), attached)
        info = FolioInfo(
            built=datetime.now(UTC).isoformat(timespec="seconds"),
            chips=chips,
            pins=pins,
            digest=_digest(connection),
            all_invented=all_invented,
            notes=counted,
        )
        _insert(connection, "folio", [{**vars(info), "id": 1, "schema_version": SCHEMA_VERSION}])
        connection.execute("COMMIT")
        connection.executescript(_sql("folio_indexes.sql"))
        _check(connection, info)
    return info


def _create(path: Path) -> sqlite3.Connection:
    """An empty folio with its tables, in a transaction that the rows go into.

    No journal: a file that fails half way is thrown away, never rolled back.
    """
    address = f"{path.as_uri()}?nolock=1"
    connection = sqlite3.connect(address, uri=True, isolation_level=None)
    connection.executescript(
        f"PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF;"
        f"PRAGMA application_id = {APPLICATION_ID}; PRAGMA user_version = {SCHEMA_VERSION};"
        f"BEGIN; {_sql('folio_tables.sql')}"
    )
    return connection


def _sql(name: str) -> str:
    return files(__package__).joinpath(name).read_text(encoding="utf-8")


def _each_once(named: Iterable[NamedChip]) -> Iterator[NamedChip]:
    """Pass the chips on; a part that comes twice is a fault that names both files."""
    first: dict[str, str] = {}
    faults: list[Fault] = []
    try:
        for name, chip in named:
            earlier = first.setdefault(part_key(chip.part), name)
            if earlier is name:
                yield name, chip
            else:
                faults.append(_twice(name, chip.part, earlier))
    except ChipFileError as refused:
        faults += refused.faults
    if faults:
        raise ChipFileError(tuple(faults))


def _twice(name: str, part: str, earlier: str) -> Fault:
    found = f"part {part}, which {earlier} describes already"
    return Fault(name, 1, 1, found, "each part in one file", None, "part-once")


def _insert_all(
    connection: sqlite3.Connection,
    named: Iterable[NamedChip],
    progress: Progress | None,
    total: int,
    extra: Extra | None,
) -> tuple[int, int, bool]:
    """Insert the chips as they come; number of chips, of pins, and whether all are invented."""
    chips, pins, all_invented = 0, 0, True
    for name, chip in named:
        for table, rows in chip_rows(chip, first_pin_id=pins + 1).items():
            try:
                _insert(connection, table, rows)
            except (sqlite3.IntegrityError, UnicodeEncodeError) as fault:
                raise FolioError(f"{name}: {chip.part} does not fit the folio: {fault}") from fault
        data = extra(chip) if extra is not None else None
        if data is not None:
            _insert(connection, "fault_dictionary", [{"chip": chip.part, "bytes": data}])
        chips, pins = chips + 1, pins + len(chip.pins)
        all_invented = all_invented and chip.invented
        if progress is not None:
            progress(chips, total, chip.part)
    return chips, pins, all_invented


def _insert_notes(
    connection: sqlite3.Connection, heads: list[Note], attached: Mapping[str, Path]
) -> int:
    """Insert what is to be shown of the notes, and what is attached; how many notes that are."""
    rows = list(note_rows(heads, connection))
    try:
        _insert(connection, "note", rows)
        for row in attachment_rows(heads, attached):
            _insert(connection, "attachment", [row])
    except (sqlite3.Error, UnicodeEncodeError) as fault:
        raise FolioError(f"the notes do not fit the folio: {fault}") from fault
    return len(rows)


def _insert(connection: sqlite3.Connection, table: str, rows: list[Row]) -> None:
    if rows:
        names = ", ".join(rows[0])
        values = ", ".join(f":{name}" for name in rows[0])
        connection.executemany(f"INSERT INTO {table} ({names}) VALUES ({values})", rows)


def _digest(connection: sqlite3.Connection) -> str:
    """SHA-256 over the documents of chips by part number, those of notes, and the SHA-256 of
    attachments: the same, if they are."""
    digest = hashlib.sha256()
    for sql in (
        "SELECT document FROM chip ORDER BY part_key",
        "SELECT document FROM note ORDER BY note, digest",
        "SELECT sha256 FROM attachment ORDER BY sha256",
    ):
        for (held,) in connection.execute(sql):
            digest.update(held.encode() + b"\n")
    return digest.hexdigest()


def _check(connection: sqlite3.Connection, info: FolioInfo) -> None:
    """Hold the finished file against itself before it may take the old one's place."""
    loose = connection.execute("PRAGMA foreign_key_check").fetchall()
    faults = [f"table {table}, row {row} refers to no {parent}" for table, row, parent, _ in loose]
    whole = [text for (text,) in connection.execute("PRAGMA integrity_check")]
    faults += [] if whole == ["ok"] else whole
    for table, expected in (("chip", info.chips), ("pin", info.pins), ("note", info.notes)):
        (found,) = connection.execute(f"SELECT count(*) FROM {table}").fetchone()
        if found != expected:
            faults.append(f"found {found} rows in {table}, expected {expected}")
    if faults:
        raise FolioError(f"the folio does not hold together: {'; '.join(faults[:5])}")
