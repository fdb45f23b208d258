"""Find the copies that synchronisation leaves when two computers changed one file.

Such a copy has the name of the file, then a sign that is no letter and no digit, and more: ``shops
(conflicted copy 2026-11-25).toml``, ``notes-laptop.jsonl``, ``shops.toml~``.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from ..errors import Fault

_REVISION: Final = r"[a-z2-7]{16}-[0-9a-f]{8}"
_LIST: Final = r"[0-9a-f]{20}"  # longer than a note's id, with which it is not confused
_STATEMENT: Final = r"(?:device|rotation|revocation)-[0-9a-f]{16}"
# Folder, name without ending, and ending of the files that synchronisation may copy.
_PLACES: Final = (
    ("", "shops?", ".toml"),
    ("keys", _STATEMENT, ".json"),
    ("notes", _REVISION, ".yaml"),
    ("notes/signed", _REVISION, ".signed"),
    ("notes/lists", _LIST, ".signed"),
    ("received/*", "notes", ".jsonl"),
    ("received/*", "notes", ".signed"),
    ("received/*/keys", _STATEMENT, ".json"),
)


@dataclass(frozen=True)
class ConflictCopy:
    """A file that synchronisation wrote beside another."""

    path: Path
    original: Path
    """The file that it is a copy of, which may be missing."""

    def to_fault(self) -> Fault:
        """Return the copy as a fault that names its remedy."""
        found = f"a second copy of {self.original.name}, as synchronisation leaves it"
        return Fault(str(self.path), 1, 1, found, "one file; merge them: pinfolio shop mend")


def find_conflict_copies(folder: Path) -> list[ConflictCopy]:
    """Return the conflict copies in a shop's folder, sorted by path."""
    copies: dict[Path, ConflictCopy] = {}
    for place, stem, ending in _PLACES:
        for parent in sorted(folder.glob(place)) if place else [folder]:
            for path in parent.iterdir() if parent.is_dir() else ():
                original = _name_original(path.name, stem, ending)
                if original is not None and path.is_file():
                    copies[path] = ConflictCopy(path, parent / original)
    return [copies[path] for path in sorted(copies)]


def is_conflict_copy(path: Path) -> bool:
    """Return whether a file of own notes is named as a copy of another."""
    kinds = ((_REVISION, ".yaml"), (_REVISION, ".signed"), (_LIST, ".signed"))
    return any(_name_original(path.name, stem, ending) is not None for stem, ending in kinds)


def _name_original(name: str, stem: str, ending: str) -> str | None:
    """Return the name of the file that ``name`` is a copy of; None if it is none."""
    sign = r"[^A-Za-z0-9]"
    within = re.fullmatch(rf"({stem}){sign}.*{re.escape(ending)}", name, re.DOTALL)
    after = re.fullmatch(rf"({stem}){re.escape(ending)}({sign}.*)", name, re.DOTALL)
    match = within or after
    return f"{match[1]}{ending}" if match else None
