"""Signals stated in a chip file, and its place: a demo chip's, or that beside a board's rules."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import yaml
from boards.drawn_chip import DrawnChip, read_chip
from pinfolio import data_demo
from pinfolio.schema import Chip

BARS = "colour bars"
_DEMO, _OWN = Path(data_demo.__file__).parent, Path(__file__).parent


@dataclass(frozen=True)
class StatedSignal:
    """The signal of a good set at one point: volts peak to peak, and how often it repeats."""

    peak_to_peak_v: float
    frequency_hz: float


def read_stated_chip(part: str) -> DrawnChip:
    """Return a chip as drawn, with its statements for colour bars."""
    return read_chip(_chip_file(part), BARS)


@cache
def load_chip(part: str) -> Chip:
    """Return the chip file of a part."""
    text = _chip_file(part).read_text(encoding="utf-8")
    return Chip.model_validate(yaml.load(text, Loader=yaml.BaseLoader))


@cache
def stated_signals(part: str) -> dict[str, StatedSignal]:
    """Return the signals of a good set on colour bars, by point; steady voltages are left out."""
    chip = load_chip(part)
    points = {f"pin {pin.number}": pin.expectations for pin in chip.pins}
    points |= {node.id: node.expectations for node in chip.application.nodes}
    return {
        point: StatedSignal(expected.waveform.vpp_v, expected.waveform.frequency_hz)
        for point, expectations in points.items()
        for expected in expectations
        if expected.condition == BARS and expected.waveform is not None and expected.waveform.vpp_v
    }


def _chip_file(part: str) -> Path:
    name = part.lower()
    places = _OWN / name, _OWN.parent / "foreign" / "chips", _DEMO
    return next(path for place in places if (path := place / f"{name}.yaml").exists())
