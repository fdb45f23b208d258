"""Chip files and notes become a folio: built beside its place, checked, then renamed into it.

Whoever reads the old folio keeps a whole one, whatever happens here; what fails leaves the old
folio as it was and nothing else behind.
"""

from __future__ import annotations

import gc
import hashlib
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final, Protocol

from ...schema import Chip
from ...schema.note import Note
from ..chip_files.chip_stream import Refused, count_records, records
from ..errors import ChipFileError, Fault
from .attachment_rows import attachment_rows
from .build_sources import find_sources
from .folio import FolioInfo
from .folio_file import SCHEMA_VERSION, FolioError, build_command
from .folio_placement import replace_folio
from .note_rows import note_rows, select_newest
from .preparation import prepare_records
from .prepared_chip import Extra, Prepared, prepare_chip
from .row_writer import ChipWriter, create, insert, sql

Rejected = Callable[[tuple[Fault, ...]], None]
"""Whoever takes note of the faults of one chip, and lets the others go in."""

_MOST_FAULTS: Final = 10_000  # so many are told before the rest is not even looked at


class Progress(Protocol):
    """Whoever wants to know how a build goes on."""

    def __call__(self, done: int, total: int, what: str) -> None:
        """Told after each chip: how many are done, of how many (0: not known), and which."""


def build_folio(
    sources: Iterable[Path],
    out: Path,
    progress: Progress | None = None,
    extra: Extra | None = None,
    *,
    rejected: Rejected | None = None,
    cache: Path | None = None,
    processes: int | None = None,
) -> FolioInfo:
    """Build ``out`` from chip files, JSON Lines, note files, folders of them and shops' folders.

    What is attached to the notes goes in with them, and what ``extra`` makes of each chip. Chips
    pass through one by one and are not kept in memory. ``rejected`` is told of each that has
    faults, and the others go in; without it nothing is written while there is a fault. ``cache``
    is a folder to keep chip files in as they were read, so that one that has not changed is not
    read again. Raises ChipFileError or NoteFileError with the faults of all files together, or
    FolioError when the folio cannot be written; ``out`` then stays as it was.
    """
    found = find_sources(sources)
    if not found.chip_files:
        raise FolioError(f"no chip files found; name some: {build_command(out)}")
    total = count_records(found.chip_files) if progress is not None else 0
    chips = prepare_records(records(found.chip_files), extra, cache, processes)
    wanted = _each_once(_told(chips, progress, total), rejected)
    return _build(wanted, found.notes, found.attached, out)


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
    prepared = (prepare_chip(chip, chip.document(), chip.part, 0, extra) for chip in chips)
    wanted = _each_once(_told(prepared, progress, 0), None)
    return _build(wanted, notes, attached or {}, out)


def _told(
    chips: Iterable[Prepared | Refused], progress: Progress | None, total: int
) -> Iterator[Prepared | Refused]:
    """Pass the chips on, and tell of each that it is done."""
    for done, chip in enumerate(chips, start=1):
        yield chip
        if progress is not None:
            progress(done, total, chip.part if isinstance(chip, Prepared) else "")


def _each_once(
    chips: Iterable[Prepared | Refused], rejected: Rejected | None
) -> Iterator[Prepared]:
    """Pass on what is a chip; a part that comes twice is a fault that names both files."""
    first: dict[str, str] = {}
    faults: list[Fault] = []
    for chip in chips:
        found = chip.faults if isinstance(chip, Refused) else _twice(chip, first)
        if isinstance(chip, Prepared) and not found:
            yield chip
        elif rejected is not None:
            rejected(found)
        else:
            faults += found
            if len(faults) >= _MOST_FAULTS:
                break
    if faults:
        raise ChipFileError(tuple(faults))
    if rejected is not None and not first:
        raise FolioError("every chip has faults, so there is nothing to build")


def _twice(chip: Prepared, first: dict[str, str]) -> tuple[Fault, ...]:
    """The fault of a part that came before, if it did."""
    earlier = first.get(chip.key)
    if earlier is None:
        first[chip.key] = chip.place
        return ()
    found = f"part {chip.part}, which {earlier} describes already"
    return (Fault(chip.file, max(1, chip.line), 1, found, "each part once", None, "part-once"),)


def _build(
    chips: Iterable[Prepared], notes: Iterable[Note], attached: Mapping[str, Path], out: Path
) -> FolioInfo:
    with replace_folio(out) as new, closing(create(new)) as connection:
        stored = _insert_chips(connection, chips)
        counted = _insert_notes(connection, select_newest(notes), attached)
        info = FolioInfo(
            built=datetime.now(UTC).isoformat(timespec="seconds"),
            chips=stored.chips,
            pins=stored.pins,
            digest=_digest(connection, stored.digests),
            all_invented=stored.all_invented,
            notes=counted,
        )
        insert(connection, "folio", [{**vars(info), "id": 1, "schema_version": SCHEMA_VERSION}])
        connection.execute("COMMIT")
        connection.executescript(sql("folio_indexes.sql"))
        _check(connection, new, info)
    return info


@dataclass
class _Stored:
    """What the chips that went in come to."""

    chips: int
    pins: int
    all_invented: bool
    digests: dict[str, bytes]
    """SHA-256 of each chip's document by its part number, as that is compared."""


def _insert_chips(connection: sqlite3.Connection, chips: Iterable[Prepared]) -> _Stored:
    """Insert the chips as they come."""
    writer, digests = ChipWriter(connection), dict[str, bytes]()
    with _few_collections():
        for chip in chips:
            writer.add(chip)
            digests[chip.key] = chip.digest
        writer.flush()
    return _Stored(writer.chips, writer.pins, writer.all_invented, digests)


@contextmanager
def _few_collections() -> Iterator[None]:
    """Look for rings of dead objects seldom: chips that pass through make none.

    Looking through all that is alive, again and again, took a third of the time.
    """
    before = gc.get_threshold()
    gc.freeze()
    gc.set_threshold(100_000, 50, 100)
    try:
        yield
    finally:
        gc.set_threshold(*before)
        gc.unfreeze()


def _insert_notes(
    connection: sqlite3.Connection, heads: list[Note], attached: Mapping[str, Path]
) -> int:
    """Insert what is to be shown of the notes, and what is attached; how many notes that are."""
    rows = list(note_rows(heads, connection))
    try:
        insert(connection, "note", rows)
        for row in attachment_rows(heads, attached):
            insert(connection, "attachment", [row])
    except (sqlite3.Error, UnicodeEncodeError) as fault:
        raise FolioError(f"the notes do not fit the folio: {fault}") from fault
    return len(rows)


def _digest(connection: sqlite3.Connection, chips: Mapping[str, bytes]) -> str:
    """SHA-256 over the SHA-256 of the documents of chips by part number, the documents of notes,
    and the SHA-256 of attachments, a line each: the same, if they are."""
    digest = hashlib.sha256()
    for key in sorted(chips):
        digest.update(chips[key].hex().encode() + b"\n")
    for asked in (
        "SELECT document FROM note ORDER BY note, digest",
        "SELECT sha256 FROM attachment ORDER BY sha256",
    ):
        for (held,) in connection.execute(asked):
            digest.update(held.encode() + b"\n")
    return digest.hexdigest()


def _check(connection: sqlite3.Connection, path: Path, info: FolioInfo) -> None:
    """Hold the finished file against itself before it may take the old one's place."""
    with ThreadPoolExecutor(1) as beside:  # both read all of it, and neither holds the other up
        integrity = beside.submit(_integrity, path)
        loose = connection.execute("PRAGMA foreign_key_check").fetchall()
        whole = integrity.result()
    faults = [f"table {table}, row {row} refers to no {parent}" for table, row, parent, _ in loose]
    faults += [] if whole == ["ok"] else whole
    counts = (
        ("chip", info.chips),
        ("chip_document", info.chips),
        ("pin", info.pins),
        ("note", info.notes),
    )
    for table, expected in counts:
        (found,) = connection.execute(f"SELECT count(*) FROM {table}").fetchone()
        if found != expected:
            faults.append(f"found {found} rows in {table}, expected {expected}")
    if faults:
        raise FolioError(f"the folio does not hold together: {'; '.join(faults[:5])}")


def _integrity(path: Path) -> list[str]:
    """What SQLite itself says of a file that nobody writes to any more. Raises OSError."""
    path.stat()  # says why it cannot be opened, where SQLite says only that
    with closing(sqlite3.connect(f"{path.as_uri()}?immutable=1", uri=True)) as connection:
        return [text for (text,) in connection.execute("PRAGMA integrity_check")]
