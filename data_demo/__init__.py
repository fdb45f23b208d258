"""Invented chips and notes to try everything on: no part, maker, set or shop in here exists.

The scene is a small invented repair shop, Halvorsen & Sister, which swaps notes with two others,
Tarnbrook & Niece and the Fennholm Bench. On the bench: a Morvane P14, a PAL portable built around
the TQZ5752, whose picture tears because its line oscillator is off; and an Orrevik M12, a monitor
with the RGB switch MDQ3724, which has lost one colour.
"""

from __future__ import annotations

from pathlib import Path

_FOLDER = Path(__file__).parent


def chip_files() -> list[Path]:
    """Return the demo chip files, sorted by name."""
    return sorted(_FOLDER.glob("*.yaml"))


def note_files() -> list[Path]:
    """Return the note files of the demo shops, one for each revision, sorted by shop and name."""
    return sorted(_FOLDER.glob("notes/*/*.yaml"))
