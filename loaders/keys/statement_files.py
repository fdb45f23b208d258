"""Read and write the files of statements: ``keys/KIND-DIGEST.json``, one unchanging file each.

A rotation or revocation that was read once is remembered in the user's state folder, so that an
older copy of the whole shop's folder does not take it back on this computer.
"""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import Final

from platformdirs import user_state_path
from pydantic import ValidationError

from ..errors import Fault
from ..system.atomic_write import write_atomically
from ..system.regular_files import read_regular
from .key_statements import MOST_STATEMENTS, ShopKeys, Statement, judge_keys

KEYS: Final = "keys"
"""Name of the folder of statements: in a shop's folder, and beside the notes of another shop."""
_MOST_BYTES: Final = 4_000


def load_keys(
    folder: Path, shop_key: str, *, to_remember: bool, faults: list[Fault] | None = None
) -> ShopKeys:
    """Return the keys of a shop from the statements in ``folder`` and those remembered.

    ``to_remember`` keeps its rotations and revocations on this computer. Files that hold no
    statement, and rotations that contradict the others, are appended to ``faults``.
    """
    unreadable: list[Fault] = []
    memory_folder = _find_memory(shop_key)
    remembered = read_statements(memory_folder, [])
    keys = judge_keys(shop_key, read_statements(folder, unreadable), remembered)
    if faults is not None:
        faults += unreadable
        expected = "one rotation of each key; remove the one that is not the shop's own"
        for rival in keys.rivals:
            path = folder / name_statement(rival)
            faults.append(Fault(str(path), 1, 1, "a second rotation of one key", expected))
    # Remembering either side of a dispute would decide it on this computer from then on.
    if to_remember and not keys.is_disputed:
        with suppress(OSError):  # without the memory the folder's statements still count
            _remember(memory_folder, (*keys.rotations, *keys.revocations))
    return keys


def read_statements(folder: Path, faults: list[Fault]) -> list[Statement]:
    """Return the statements in the files of ``folder``; faults of the others go to ``faults``."""
    statements = []
    for path in sorted(folder.glob("*.json"))[:MOST_STATEMENTS]:
        statement = read_statement(path)
        if statement is None:
            expected = "a statement as it was signed; restore the file or remove it"
            faults.append(Fault(str(path), 1, 1, "no statement about a key", expected))
        else:
            statements.append(statement)
    return statements


def read_statement(path: Path) -> Statement | None:
    """Return the statement in a file; None if it holds none."""
    try:
        return Statement.model_validate_json(read_regular(path, _MOST_BYTES))
    except (OSError, ValidationError, ValueError):
        return None


def name_statement(statement: Statement) -> str:
    """Return the name of a statement's file."""
    return f"{statement.kind}-{statement.digest[:16]}.json"


def stage_statements(folder: Path, statements: Iterable[Statement]) -> None:
    """Write each statement to its file in ``folder``; raises OSError."""
    for statement in statements:
        folder.mkdir(parents=True, exist_ok=True)
        (folder / name_statement(statement)).write_bytes(f"{statement.document()}\n".encode())


def _find_memory(shop_key: str) -> Path:
    return user_state_path("pinfolio", appauthor=False) / "key-statements" / shop_key


def _remember(memory: Path, statements: Iterable[Statement]) -> None:
    for statement in statements:
        path = memory / name_statement(statement)
        if not path.exists():
            memory.mkdir(parents=True, exist_ok=True, mode=0o700)
            write_atomically(path, f"{statement.document()}\n")
