"""Invented chips and notes to try everything on: no part, maker, set or shop in here exists.

The scene is a small invented repair shop, Halvorsen & Sister, which swaps notes with another,
Tarnbrook & Niece. On the bench: a Morvane P14, a PAL portable built around the TQZ5752, whose
picture tears because its line oscillator is off; and an Orrevik M12, a monitor with the RGB switch
MDQ3724, which has lost one colour.
"""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path


def chip_files() -> list[Path]:
    """The demo chip files, sorted by name."""
    folder = Path(str(files(__name__)))
    return sorted(folder.glob("*.yaml"))


def note_files() -> list[Path]:
    """The notes of the two demo shops, each revision a file, in a folder for each shop."""
    folder = Path(str(files(__name__))) / "notes"
    return sorted(folder.glob("*/*.yaml"))
