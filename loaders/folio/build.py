"""Build a folio from chip files and notes: write beside the old one, check, then rename.

A build that fails leaves the old folio as it was and nothing else behind.
"""

from __future__ import annotations

import gc
import hashlib
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final, Protocol

from ...schema import Chip
from ...schema.note import Note
from ..chip_files.chip_stream import InvalidRecord, count_records, read_records
from ..errors import ChipFileError, Fault
from .attachment_rows import make_attachment_rows
from .build_sources import find_sources
from .folio import FolioInfo
from .folio_file import SCHEMA_VERSION, FolioError, build_command
from .folio_placement import replace_folio
from .note_rows import (
    make_note_rows,
    make_proposal_rows,
    make_uncompared_rows,
    select_newest,
    select_proposals,
)
from .preparation import prepare_records
from .prepared_chip import PreparedChip, prepare_chip
from .row_writer import ChipWriter, create_folio, insert_rows, read_script

RejectChip = Callable[[tuple[Fault, ...]], None]
"""Callback that receives the faults of a chip that is left out."""

_MOST_FAULTS: Final = 10_000  # the build stops reading when it has found so many
_MOST_NAMED: Final = 5  # inconsistencies quoted in one message


class Progress(Protocol):
    """Callback that receives build progress."""

    def __call__(self, done: int, total: int, label: str) -> None:
        """Report ``done`` of ``total`` steps (0: unknown); ``label`` names the last one."""


def build_folio(
    sources: Iterable[Path],
    out: Path,
    progress: Progress | None = None,
    *,
    rejected: RejectChip | None = None,
    set_aside: list[Fault] | None = None,
    cache: Path | None = None,
    processes: int | None = None,
) -> FolioInfo:
    """Build ``out`` from chip files, JSON Lines, note files, and folders of them or of shops.

    The folio includes the attachments of notes. Chips stream through and are not kept in memory.
    With ``rejected``, invalid chips are reported to it and left out; without it, nothing is written
    if any chip is invalid. Notes of a shop, and attachments, that cannot be read are ``set_aside``,
    as in ``load_all_notes``. ``cache`` is the folder for results of unchanged chip files;
    ``processes`` is the number of worker processes.

    Raises ChipFileError or NoteFileError with the faults of all files, FolioError when the folio
    cannot be written; ``out`` then stays as it was.
    """
    inputs = find_sources(sources, set_aside)
    if not inputs.chip_files:
        raise FolioError(f"no chip files found; name some: {build_command(out)}")
    # Counting reads every JSON Lines file, so it is done only for a progress display.
    chip_count = count_records(inputs.chip_files) if progress is not None else 0
    prepared_chips = prepare_records(read_records(inputs.chip_files), cache, processes)
    reported_chips = _report_progress(prepared_chips, progress, chip_count)
    valid_chips = _require_valid(reported_chips, rejected)
    return _build(valid_chips, inputs.notes, inputs.attachments, out, set_aside)


def build_from_chips(
    chips: Iterable[Chip],
    out: Path,
    progress: Progress | None = None,
    notes: Iterable[Note] = (),
    attachments: Mapping[str, Path] | None = None,
) -> FolioInfo:
    """Build ``out`` from models; otherwise as ``build_folio``.

    ``attachments`` gives the path of each attachment of the notes by its stored name.
    """
    prepared_chips = (prepare_chip(chip, chip.document(), chip.part) for chip in chips)
    reported_chips = _report_progress(prepared_chips, progress, 0)  # an iterable has no length
    valid_chips = _require_valid(reported_chips, None)
    return _build(valid_chips, notes, attachments or {}, out)


def _report_progress(
    chips: Iterable[PreparedChip | InvalidRecord], progress: Progress | None, total: int
) -> Iterator[PreparedChip | InvalidRecord]:
    for done, chip in enumerate(chips, start=1):
        yield chip
        if progress is not None:
            progress(done, total, chip.part if isinstance(chip, PreparedChip) else "")


def _require_valid(
    chips: Iterable[PreparedChip | InvalidRecord], rejected: RejectChip | None
) -> Iterator[PreparedChip]:
    """Yield the valid chips; a part that occurs twice is a fault that names both files.

    Faults go to ``rejected`` chip by chip. Without it they are collected, and ChipFileError is
    raised after the last chip, so that one run shows the faults of all files.
    """
    first_places: dict[str, str] = {}
    all_faults: list[Fault] = []
    for chip in chips:
        if isinstance(chip, PreparedChip):
            faults = _find_duplicate(chip, first_places)
            if not faults:
                yield chip
                continue
        else:
            faults = chip.faults
        if rejected is not None:
            rejected(faults)
        else:
            all_faults += faults
            if len(all_faults) >= _MOST_FAULTS:
                break
    if all_faults:
        raise ChipFileError(tuple(all_faults))
    if rejected is not None and not first_places:
        raise FolioError("every chip has faults, so no folio is built; correct the chip files")


def _find_duplicate(chip: PreparedChip, first_places: dict[str, str]) -> tuple[Fault, ...]:
    """Return the fault of a part that occurred before; else note its place."""
    first_place = first_places.get(chip.key)
    if first_place is None:
        first_places[chip.key] = chip.place
        return ()
    found_text = f"part {chip.part}, which {first_place} describes already"
    return (
        Fault(chip.file, max(1, chip.line), 1, found_text, "each part once", None, "part-once"),
    )


def _build(
    chips: Iterable[PreparedChip],
    notes: Iterable[Note],
    attachments: Mapping[str, Path],
    out: Path,
    set_aside: list[Fault] | None = None,
) -> FolioInfo:
    """Write a folio to a temporary file, put it in the place of ``out``, and return its facts."""
    with replace_folio(out) as temporary, closing(create_folio(temporary)) as connection:
        stored = _insert_chips(connection, chips)
        note_count = insert_notes(connection, tuple(notes), attachments, set_aside)
        info = FolioInfo(
            built=datetime.now(UTC).isoformat(timespec="seconds"),
            chips=stored.chips,
            pins=stored.pins,
            digest=_compute_digest(connection, stored.digests),
            all_invented=stored.all_invented,
            notes=note_count,
        )
        row = {**info._asdict(), "id": 1, "schema_version": SCHEMA_VERSION}
        insert_rows(connection, "folio", [row])
        connection.execute("COMMIT")
        # Indexing all rows at once takes less time than keeping indexes current row by row.
        connection.executescript(read_script("folio_indexes.sql"))
        _check(connection, temporary, info)
    return info


@dataclass
class _Stored:
    """Totals of the inserted chips."""

    chips: int
    pins: int
    all_invented: bool
    digests: dict[str, bytes]
    """SHA-256 of each chip's document by its part number in normal form."""


def _insert_chips(connection: sqlite3.Connection, chips: Iterable[PreparedChip]) -> _Stored:
    writer, digests = ChipWriter(connection), dict[str, bytes]()
    with _collect_garbage_rarely():
        for chip in chips:
            writer.add(chip)
            digests[chip.key] = chip.digest
        writer.flush()
    return _Stored(writer.chips, writer.pins, writer.all_invented, digests)


@contextmanager
def _collect_garbage_rarely() -> Iterator[None]:
    """Search rarely for reference cycles: chips have none, and it took a third of the time."""
    thresholds = gc.get_threshold()
    gc.freeze()
    gc.set_threshold(100_000, 50, 100)
    try:
        yield
    finally:
        gc.set_threshold(*thresholds)
        gc.unfreeze()


def insert_notes(
    connection: sqlite3.Connection,
    notes: Sequence[Note],
    attachments: Mapping[str, Path],
    set_aside: list[Fault] | None,
) -> int:
    """Insert the newest of all revisions, proposals and attachments; return how many are newest."""
    newest_notes = select_newest(notes)
    note_rows = list(make_note_rows(newest_notes, connection, set_aside))
    proposals = select_proposals(notes)
    # Attachments of notes that are left out for want of their place are left out with them.
    kept_digests = {row["digest"] for row in note_rows}
    kept_notes = [note for note in newest_notes if note.digest in kept_digests]
    try:
        insert_rows(connection, "note", note_rows)
        insert_rows(connection, "proposal", list(make_proposal_rows(proposals)))
        insert_rows(connection, "uncompared_shop", list(make_uncompared_rows(notes)))
        # One row at a time: together the attachments may not fit in memory.
        for row in make_attachment_rows((*kept_notes, *proposals), attachments, set_aside):
            insert_rows(connection, "attachment", [row])
    except (sqlite3.Error, UnicodeEncodeError) as error:
        raise FolioError(f"the notes do not fit the folio: {error}") from error
    return len(note_rows)


def _compute_digest(connection: sqlite3.Connection, chips: Mapping[str, bytes]) -> str:
    """Return the SHA-256 of the folio's contents, independent of how it was built.

    It covers one line each for the SHA-256 of every chip document, ordered by part number, every
    note and proposal document, every shop not compared, and the SHA-256 of every attachment.
    """
    digest = hashlib.sha256()
    # Sorted, because worker processes and the order of files must not change the digest.
    for part_number in sorted(chips):
        digest.update(chips[part_number].hex().encode() + b"\n")
    for query in (
        "SELECT document FROM note ORDER BY note, digest",
        "SELECT document FROM proposal ORDER BY note, digest",
        "SELECT shop FROM uncompared_shop ORDER BY shop",
        "SELECT sha256 FROM attachment ORDER BY sha256",
    ):
        for (text,) in connection.execute(query):
            digest.update(text.encode() + b"\n")
    return digest.hexdigest()


def _check(connection: sqlite3.Connection, path: Path, info: FolioInfo) -> None:
    """Raise FolioError unless the finished file passes SQLite's checks and the counts match."""
    with ThreadPoolExecutor(1) as executor:  # both checks read the whole file, side by side
        integrity = executor.submit(_check_integrity, path)
        dangling_rows = connection.execute("PRAGMA foreign_key_check").fetchall()
        messages = integrity.result()
    problems = [
        f"row {row} of {table} refers to no {parent}" for table, row, parent, _ in dangling_rows
    ]
    if messages != ["ok"]:
        problems += messages
    expected_counts = {
        "chip": info.chips,
        "chip_document": info.chips,
        "pin": info.pins,
        "note": info.notes,
    }
    for table, expected_count in expected_counts.items():
        (row_count,) = connection.execute(f"SELECT count(*) FROM {table}").fetchone()
        if row_count != expected_count:
            problems.append(f"{table} has {row_count} rows instead of {expected_count}")
    if problems:
        raise FolioError(f"the folio is inconsistent: {'; '.join(problems[:_MOST_NAMED])}")


def _check_integrity(path: Path) -> list[str]:
    """Return the messages of SQLite's integrity check, ["ok"] if it passed. Raises OSError."""
    path.stat()  # raises the reason why it cannot be opened, which SQLite does not give
    with closing(sqlite3.connect(f"{path.as_uri()}?immutable=1", uri=True)) as connection:
        return [text for (text,) in connection.execute("PRAGMA integrity_check")]
