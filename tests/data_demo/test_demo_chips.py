"""Every demo chip reads like a whole data sheet; together they cover a set from aerial to tube."""

from __future__ import annotations

from collections import Counter
from functools import cache
from pathlib import Path

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.schema import Chip, Expectation

# Line and field rates in hertz, worked out from Recommendation ITU-R BT.470-6, table 1 (lines per
# picture and fields per second); the NTSC line rate is 4.5 MHz / 286 (SMPTE 170M).
LINE_AND_FIELD_HZ = {
    "NTSC-M": (4.5e6 / 286, 4.5e6 / 286 * 2 / 525),
    "PAL-B/G": (15_625.0, 50.0),
}
NOT_A_SIGNAL = ("supply", "ground", "unused")

every_chip = pytest.mark.parametrize("path", chip_files(), ids=lambda path: path.stem)


@cache
def read_chip(path: Path) -> Chip:
    return load_chip(path)


def list_expectations(chip: Chip) -> list[tuple[str, Expectation]]:
    """All expectations of pins and nodes, each with its place in the file."""
    at_pins = [(f"pin {pin.number}", e) for pin in chip.pins for e in pin.expectations]
    return at_pins + [(node.id, e) for node in chip.application.nodes for e in node.expectations]


@every_chip
def test_chip_file_passes_every_rule_and_is_named_after_its_part(path: Path) -> None:
    assert read_chip(path).part.lower() == path.stem


@every_chip
def test_chip_says_that_it_is_invented(path: Path) -> None:
    chip = read_chip(path)
    assert chip.invented
    assert "invented" in chip.summary.lower()
    assert all("invented" in source.title.lower() for source in chip.sources)


@every_chip
def test_every_pin_has_function_role_and_dc_in_two_conditions(path: Path) -> None:
    chip = read_chip(path)
    conditions = {condition.name for condition in chip.conditions}
    short = []
    for pin in chip.pins:
        assert pin.function, pin.symbol
        assert pin.role, pin.symbol
        measured = {e.condition for e in pin.expectations if e.dc is not None} & conditions
        if len(measured) < 2:
            short.append((pin.number, pin.symbol, sorted(measured)))
    assert short == []


@every_chip
def test_every_signal_pin_belongs_to_a_block(path: Path) -> None:
    chip = read_chip(path)
    named = {end for b in chip.blocks for end in (*b.inputs, *b.outputs, *b.needs)}
    signals = {f"pin {pin.number}" for pin in chip.pins if pin.role not in NOT_A_SIGNAL}
    assert sorted(signals - named) == []


@every_chip
def test_waveforms_of_a_system_run_at_a_rate_of_the_chips_systems(path: Path) -> None:
    chip = read_chip(path)
    rates_hz = [hz for system in chip.systems for hz in LINE_AND_FIELD_HZ[system]]
    for where, expectation in list_expectations(chip):
        waveform = expectation.waveform
        system = getattr(waveform, "system", None)
        if waveform is None or system is None:
            continue
        assert system in chip.systems, where
        # a carrier's frequency is its own, and what is on it repeats with the line
        repeats_hz = waveform.frequency_hz
        if waveform.kind in ("modulated IF", "FM luminance", "colour-under"):
            repeats_hz = 1 / waveform.period_s
        nearest_hz = min(rates_hz, key=lambda hz: abs(hz - repeats_hz))
        # 10 ppm, far finer than the 0.7 % between the line rates of the two systems
        assert repeats_hz == pytest.approx(nearest_hz, rel=1e-5), where


@every_chip
def test_chip_has_a_circuit_around_it_and_names_its_dangers(path: Path) -> None:
    chip = read_chip(path)
    assert len(chip.application.parts) >= 12
    assert any(part.purpose for part in chip.application.parts)
    assert any(node.expectations for node in chip.application.nodes)
    assert chip.hazards


def test_demo_chips_together_cover_a_set_and_a_recorder() -> None:
    chips = [read_chip(path) for path in chip_files()]
    assert len(chips) >= 10
    assert len({chip.part for chip in chips}) == len(chips)
    assert len({chip.maker for chip in chips}) >= 4
    assert sum(len(chip.pins) for chip in chips) > 300

    kinds = Counter(chip.kind for chip in chips)
    for kind in (
        "chroma/luma processor",
        "sync/deflection processor",
        "vision and sound IF",
        "vertical output",
        "recorder Y/C processor",
        "audio processor",
    ):
        assert kinds[kind], kind
    assert kinds["RGB switch"] or kinds["RGB matrix"]
    assert kinds["comb filter"] or kinds["delay line"]
    jungles = [chip.systems for chip in chips if chip.kind == "jungle"]
    assert any("NTSC-M" in systems for systems in jungles)
    assert any("PAL-B/G" in systems for systems in jungles)
    assert len(jungles) >= 2
