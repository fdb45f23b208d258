"""A folio with the notes that a shop's folder has now, without building it from its sources.

The folio's own notes stay, but for those that the folder has too: of them the folder's revisions
count, also where they withdraw a note.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Iterable
from contextlib import closing
from pathlib import Path

from ...schema.note import Note
from ..errors import Fault
from ..shop.note_files import format_stored_name, load_all_notes, locate_attachment
from ..shop.shop_folder import Shop
from .build import insert_notes
from .folio_file import FolioError, check_folio_file
from .folio_placement import replace_folio
from .seal import SEAL_SIZE


def write_with_shop_notes(
    folio: Path, shop: Shop, out: Path, set_aside: list[Fault] | None = None
) -> None:
    """Write ``out``, the folio at ``folio`` with the notes of a shop's folder over its own.

    Notes that cannot be read, or whose pin the folio lacks, are ``set_aside``, as in a build.

    Raises FolioError, NoteFileError, NoteLinesError, ShopError.
    """
    check_folio_file(folio)
    faults: list[Fault] = [] if set_aside is None else set_aside
    notes = load_all_notes(shop, faults)
    with replace_folio(out) as temporary:
        # The copy is sealed anew when it is put in place, so the old seal stays behind.
        temporary.write_bytes(folio.read_bytes()[:-SEAL_SIZE])
        with closing(_connect(temporary)) as connection:
            _replace_notes(connection, shop, notes, faults)


def _connect(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(f"{path.as_uri()}?nolock=1", uri=True, isolation_level=None)
    connection.executescript("PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF; BEGIN;")
    return connection


def _replace_notes(
    connection: sqlite3.Connection, shop: Shop, notes: list[Note], faults: list[Fault]
) -> None:
    """Replace the notes of an open folio, and bring indexes, counts and digest up to date."""
    try:
        _delete_notes(connection, notes)
        attachment_rows = connection.execute("SELECT sha256 FROM attachment")
        sha256s_in_folio = {sha256 for (sha256,) in attachment_rows}
        files = {
            format_stored_name(attachment): locate_attachment(shop, note, attachment)
            for note in notes
            for attachment in note.attachments
            if attachment.sha256 not in sha256s_in_folio
        }
        insert_notes(connection, notes, files, faults)
        digest = _compute_digest(connection)
        note_count = "(SELECT count(*) FROM note)"
        connection.execute(f"UPDATE folio SET notes = {note_count}, digest = ?", (digest,))
        connection.execute("COMMIT")
        # Search index and planner statistics are derived: rebuilt once the notes are in.
        connection.execute("INSERT INTO note_fts (note_fts) VALUES ('rebuild')")
        connection.execute("ANALYZE")
    except sqlite3.OperationalError as error:
        raise FolioError(f"the folio takes no notes ({error}); build it again") from error


def _delete_notes(connection: sqlite3.Connection, notes: Iterable[Note]) -> None:
    """Delete the folio's own state of notes that the shop has, and of the shops that wrote them."""
    ids = json.dumps(sorted({note.id for note in notes}))
    shops = json.dumps(sorted({note.shop for note in notes}))
    for table, column, values in (
        ("note", "note", ids),
        ("proposal", "note", ids),
        ("uncompared_shop", "shop", shops),
    ):
        listed = "SELECT value FROM json_each(?)"
        connection.execute(f"DELETE FROM {table} WHERE {column} IN ({listed})", (values,))


def _compute_digest(connection: sqlite3.Connection) -> str:
    """Return the SHA-256 of the folio's digest before and of all its notes now."""
    digest = hashlib.sha256(connection.execute("SELECT digest FROM folio").fetchone()[0].encode())
    for table in ("note", "proposal"):
        for (name,) in connection.execute(f"SELECT digest FROM {table} ORDER BY digest"):
            digest.update(name.encode())
    return digest.hexdigest()
