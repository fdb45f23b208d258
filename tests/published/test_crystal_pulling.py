"""A crystal pulled by its load, against the numeric root of the circuit and published figures.

The circuit is Butterworth and Van Dyke's (IEC 60122-1): L1 and C1 in series, C0 beside them.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.data_demo import chip_files, note_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.loaders.shop.note_files import load_note
from pinfolio.schema.measuring.crystal import (
    Resonator,
    compute_frequency_shift_hz,
    compute_series_capacitance_f,
    typical_resonator,
)
from scipy.optimize import brentq

PAL_HZ = 4.43361875e6


def solve_root_hz(resonator: Resonator, load_f: float) -> float:
    """Where the series arm's reactance cancels that of C0 and the load side by side."""
    inductance_h = 1 / ((2 * math.pi * resonator.series_hz) ** 2 * resonator.motional_f)

    def reactance_ohm(frequency_hz: float) -> float:
        omega = 2 * math.pi * frequency_hz
        arm_ohm = omega * inductance_h - 1 / (omega * resonator.motional_f)
        return arm_ohm - 1 / (omega * (resonator.holder_f + load_f))

    return float(brentq(reactance_ohm, resonator.series_hz, resonator.series_hz * 1.2, xtol=1e-6))


@given(st.floats(5e-15, 30e-15), st.floats(2e-12, 7e-12), st.floats(5e-12, 500e-12))
def test_a_crystal_with_any_load(motional_f: float, holder_f: float, load_f: float) -> None:
    crystal = Resonator(PAL_HZ, motional_f, holder_f, 20e-12)
    assert crystal.loaded_hz(load_f) == pytest.approx(
        solve_root_hz(crystal, load_f), rel=1e-12, abs=1e-4
    )


@pytest.mark.parametrize("load_f", [50e-12, 330e-12, 1e-9])
def test_a_ceramic_resonator(load_f: float) -> None:
    ceramic = typical_resonator("ceramic resonator", 500e3)
    assert ceramic.loaded_hz(load_f) == pytest.approx(solve_root_hz(ceramic, load_f), abs=1e-4)


@pytest.mark.parametrize("kind", ["crystal", "ceramic resonator"])
def test_it_runs_on_its_nominal_frequency_with_its_own_load(kind: str) -> None:
    resonator = typical_resonator(kind, PAL_HZ)
    assert resonator.loaded_hz(resonator.load_f) == pytest.approx(PAL_HZ, rel=1e-12)


def test_a_published_crystal() -> None:
    """Magazine quiz no. 67: fs 9.996490 MHz, fp 10.017730 MHz, C1 27.1 fF. The parallel resonance
    is the one without any load; C0 follows as 6.370466 pF (computed, confirmed by ngspice)."""
    crystal = Resonator(9.996490e6, 27.1e-15, 6.370466e-12, 1.0)  # a farad pulls nothing
    assert crystal.series_hz == pytest.approx(9.996490e6, abs=0.01)
    assert crystal.loaded_hz(0.0) == pytest.approx(10.017730e6, abs=1)
    for load_pf, offset_ppm in ((12, 737.325), (20, 513.700), (30, 372.486)):
        loaded_hz = crystal.loaded_hz(load_pf * 1e-12)
        assert (loaded_hz / 9.996490e6 - 1) * 1e6 == pytest.approx(offset_ppm, abs=2e-3)


@pytest.mark.parametrize(
    ("from_pf", "to_pf", "shift_ppm"), [(18, 20, -34.753), (20, 22, -29.606), (20, 16, 76.127)]
)
def test_a_change_of_load(from_pf: float, to_pf: float, shift_ppm: float) -> None:
    """The exact form of the trim sensitivity in crystal makers' pages: C1 20 fF, C0 5 pF."""
    crystal = Resonator(PAL_HZ, 20e-15, 5e-12, from_pf * 1e-12)
    moved = crystal.loaded_hz(to_pf * 1e-12) / PAL_HZ - 1
    assert moved * 1e6 == pytest.approx(shift_ppm, abs=2e-3)


def test_a_probe_at_one_end_is_in_series_with_the_other() -> None:
    """33 pF at both ends and a probe of 15 pF: the root of the whole circuit, before and after."""
    crystal = Resonator(PAL_HZ, 20e-15, 5e-12, 16.5e-12)
    moved_hz = solve_root_hz(crystal, compute_series_capacitance_f(48e-12, 33e-12)) - solve_root_hz(
        crystal, 16.5e-12
    )
    assert compute_frequency_shift_hz(crystal, 33e-12, 33e-12, 15e-12) == pytest.approx(
        moved_hz, abs=1e-3
    )


@given(st.floats(10e-12, 60e-12), st.floats(10e-12, 60e-12), st.floats(1e-12, 200e-12))
def test_more_capacitance_is_always_lower(pin_f: float, other_f: float, probe_f: float) -> None:
    crystal = typical_resonator("crystal", PAL_HZ)
    assert compute_frequency_shift_hz(
        crystal, pin_f, other_f, 2 * probe_f
    ) < compute_frequency_shift_hz(crystal, pin_f, other_f, probe_f)
    assert compute_frequency_shift_hz(crystal, pin_f, other_f, probe_f) < 0


@pytest.mark.parametrize(("stem", "ref"), [("tqz5752", "X701"), ("ogx7342", "X802")])
def test_the_line_loops_of_the_demo_pull_their_ceramic_resonator_only_where_it_swings(
    stem: str, ref: str
) -> None:
    """C1 15 pF, C0 250 pF, CL 330 pF at 500 kHz (common practice, from memory): it swings from

    fs = f0 / sqrt(1 + C1/(C0+CL)), 6.3 kHz below, to fp = fs sqrt(1 + C1/C0), 8.2 kHz above."""
    chip = load_chip(next(path for path in chip_files() if path.stem == stem))
    (part,) = [one for one in chip.application.parts if one.ref == ref]
    block = next(one for one in chip.blocks if one.id == "line-oscillator")
    assert part.quantity is not None
    assert block.lock_range is not None
    resonator_hz = part.quantity.nominal
    series_hz = resonator_hz / math.sqrt(1 + 15 / (250 + 330))
    parallel_hz = series_hz * math.sqrt(1 + 15 / 250)
    assert resonator_hz - series_hz > block.lock_range.nominal
    assert parallel_hz - resonator_hz > block.lock_range.nominal


def test_a_resonator_at_489_khz_has_left_its_resonance_and_the_lock_range() -> None:
    """The note of a shop tells of ragged lines at 489 kHz: below the series resonance, 493.7 kHz,
    a sound resonator of 500 kHz does not swing, and no loop brings it back."""
    (note,) = [one for one in map(load_note, note_files()) if one.part == "X701"]
    assert note.readings is not None
    assert note.readings.frequency is not None
    read_hz = note.readings.frequency.nominal
    assert read_hz < 500e3 / math.sqrt(1 + 15 / (250 + 330))
    chip = load_chip(next(path for path in chip_files() if path.stem == "tqz5752"))
    block = next(one for one in chip.blocks if one.id == "line-oscillator")
    assert block.lock_range is not None
    assert 500e3 - read_hz > block.lock_range.nominal


def test_an_open_trimming_capacitor_leaves_the_parallel_resonance() -> None:
    """1.6 % high where C716 is open, as its purpose says; its 330 pF are the load."""
    resonator = typical_resonator("ceramic resonator", 500e3)
    assert resonator.loaded_hz(330e-12) == pytest.approx(500e3)
    assert resonator.loaded_hz(0) / 500e3 - 1 == pytest.approx(0.016, abs=1e-3)
