"""One slip in a demo chip file: lint reports its line and column, and offers the right text.

The slips are in slips.py, from how people slip (common practice).
"""

from __future__ import annotations

from pathlib import Path

import pytest
from pinfolio.plugins.contributing.lint import lint_file

from .slips import SLIPS, Slip, make_faulty_file

UNPLACED = {"prefix of a frequency"}
"""Slips whose consequence elsewhere in the waveform is reported instead."""
RESPELT = {"limits swapped"}
"""Slips whose right text lint spells otherwise: a unit at both limits."""


@pytest.mark.parametrize("slip", SLIPS, ids=lambda slip: slip.name)
def test_slip_is_placed_and_mended(slip: Slip, tmp_path: Path) -> None:
    faulty = make_faulty_file(slip, SLIPS.index(slip))
    path = tmp_path / "chip.yaml"
    path.write_text(faulty.text, encoding="utf-8")
    notes = lint_file(path).notes
    assert notes
    if slip.name in UNPLACED:
        return
    placed = [note for note in notes if (note.line, note.column) in faulty.places]
    assert placed, [(note.line, note.column, note.message) for note in notes]
    if slip.name not in RESPELT:
        assert any(faulty.right in (note.write or "") for note in placed)
