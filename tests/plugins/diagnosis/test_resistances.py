"""A resistance with the set off, between any two points, weighs like any other reading."""

from __future__ import annotations

from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.answers.hunt import find_fault
from pinfolio.plugins.readings.reading_syntax import read_line
from pinfolio.schema.instruments.ordinary import BUILT_IN

CHIP = load_chip(next(path for path in chip_files() if path.stem == "kye4728"))


def share(ref: str, *readings: str) -> float:
    lines = [read_line(reading) for reading in readings]
    return find_fault(CHIP, [], lines, BUILT_IN.choose()).found.share_of(("part", ref))


def test_a_short_across_a_capacitor_speaks_for_it() -> None:
    """Ohm's law: only the part between its pin and ground brings it to ground."""
    part = next(p for p in CHIP.application.parts if p.ref == "C407")
    first, second = part.joins
    assert second == "ground"
    assert share("C407", f"{first} ohms=0.3") > 3 * share("C407")
