"""Invented chips and notes to try everything on: no part, maker, set or shop in here exists.

The scene is a small invented repair shop, Halvorsen & Sister, which swaps notes with another,
Tarnbrook & Niece. On the bench: a Morvane P14, a PAL portable built around the TQZ5752, whose
picture tears because its line oscillator is off; and an Orrevik M12, a monitor with the RGB switch
MDQ3724, which has lost one colour.
"""

from __future__ import annotations

import os

TYPE_CHECKING = False  # as typing has it; a chip is looked up without pathlib, too
if TYPE_CHECKING:
    from pathlib import Path


def files() -> list[str]:
    """Every chip file, then every note, by its path."""
    return [*_chips(), *_notes()]


def chip_files() -> list[Path]:
    """The demo chip files, sorted by name."""
    from pathlib import Path

    return [Path(file) for file in _chips()]


def note_files() -> list[Path]:
    """The notes of the two demo shops, each revision a file, in a folder for each shop."""
    from pathlib import Path

    return [Path(file) for file in _notes()]


def _chips() -> list[str]:
    return _described(os.path.dirname(__file__))


def _notes() -> list[str]:
    shops = os.path.join(os.path.dirname(__file__), "notes")
    return [file for shop in sorted(os.listdir(shops)) for file in _described(f"{shops}/{shop}")]


def _described(folder: str) -> list[str]:
    """The YAML files of a folder, sorted by name."""
    return [f"{folder}/{name}" for name in sorted(os.listdir(folder)) if name.endswith(".yaml")]
