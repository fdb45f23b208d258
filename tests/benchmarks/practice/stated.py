"""Signals stated in the chip file of a demo chip, and the place of the file."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import yaml
from boards.drawn_chip import DrawnChip, read_chip
from pinfolio import data_demo
from pinfolio.schema import Chip

BARS = "colour bars"
_DEMO = Path(data_demo.__file__).parent


@dataclass(frozen=True)
class StatedSignal:
    """The signal of a good set at one point: volts peak to peak, and how often it repeats."""

    peak_to_peak_v: float
    frequency_hz: float


def read_demo_chip(part: str) -> DrawnChip:
    """Return a demo chip as drawn, with its statements for colour bars."""
    return read_chip(_demo_file(part), BARS)


@cache
def stated_signals(part: str) -> dict[str, StatedSignal]:
    """Return the signals of a good set on colour bars, by point; steady voltages are left out."""
    text = _demo_file(part).read_text(encoding="utf-8")
    chip = Chip.model_validate(yaml.load(text, Loader=yaml.BaseLoader))
    points = {f"pin {pin.number}": pin.expectations for pin in chip.pins}
    points |= {node.id: node.expectations for node in chip.application.nodes}
    return {
        point: StatedSignal(expected.waveform.vpp_v, expected.waveform.frequency_hz)
        for point, expectations in points.items()
        for expected in expectations
        if expected.condition == BARS and expected.waveform is not None and expected.waveform.vpp_v
    }


def _demo_file(part: str) -> Path:
    return _DEMO / f"{part.lower()}.yaml"
