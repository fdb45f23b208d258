"""The synthesiser keeps the numbers of the standards, measured here with plain numpy."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from captures.composite import Composite, Samples
from captures.instrument import Recording, record
from captures.pulses import FieldDrive, Flyback, Sandcastle
from captures.standards import NTSC, PAL, System

RATE_HZ = 200e6


def make_line(signal: Composite, line: int) -> tuple[Samples, Samples]:
    """Return seconds after 0H and volts over blanking of one line."""
    count = round(RATE_HZ * signal.system.line_s)
    late_s = np.arange(count) / RATE_HZ
    return late_s, signal.volts(late_s + line * signal.system.line_s)


def cut_bar(system: System, number: int, late_s: Samples, volts: Samples) -> Samples:
    """Return the volts in the middle half of a bar."""
    picture_s = system.line_s - system.front_porch_s - system.picture_start_s
    share = (late_s - system.picture_start_s) / picture_s * 8 - number
    return volts[(share > 0.25) & (share < 0.75)]


@pytest.mark.parametrize(
    ("number", "top_mv", "bottom_mv"),
    [
        (0, 700, 700),
        (1, 700, 230.3),
        (2, 700, 36.1),
        (3, 618.2, -1.8),
        (4, 526.8, -93.2),
        (5, 488.9, -175),
        (6, 294.7, -175),
        (7, 0, 0),
    ],
)
def test_pal_bars(number: int, top_mv: float, bottom_mv: float) -> None:
    """100/0/75/0: tops and bottoms by Y ± chroma of ITU-R BT.470 with 0.299, 0.587, 0.114."""
    bar = cut_bar(PAL, number, *make_line(Composite(PAL), 100))
    assert (bar.max(), bar.min()) == pytest.approx((top_mv / 1e3, bottom_mv / 1e3), abs=2e-3)


@pytest.mark.parametrize(
    ("number", "top_ire", "bottom_ire"),
    [
        (0, 76.875, 76.875),
        (1, 100, 37.933),
        (2, 100, 12.264),
        (3, 89.186, 7.26),
        (4, 77.115, -4.811),
        (5, 72.111, -15.625),
        (6, 46.442, -15.625),
        (7, 7.5, 7.5),
    ],
)
def test_ntsc_bars(number: int, top_ire: float, bottom_ire: float) -> None:
    """75/7.5/75/7.5 of SMPTE 170M in IRE, 140 to the volt."""
    bar = cut_bar(NTSC, number, *make_line(Composite(NTSC), 100)) * 140
    assert (bar.max(), bar.min()) == pytest.approx((top_ire, bottom_ire), abs=0.3)


@pytest.mark.parametrize(("system", "burst_v"), [(PAL, 0.3), (NTSC, 0.2857)])
def test_burst_and_sync(system: System, burst_v: float) -> None:
    """ITU-R BT.470 table 1-1, SMPTE 170M: sync of 4.7 µs, burst of 10 or 9 cycles."""
    late_s, volts = make_line(Composite(system, luma=0.0, chroma=0.0), 100)
    tip = volts < -system.sync_v / 2
    assert tip.sum() / RATE_HZ == pytest.approx(4.7e-6, abs=20e-9)
    burst = volts[(late_s > 5e-6) & (late_s < 9e-6)]
    assert np.ptp(burst) == pytest.approx(burst_v, rel=5e-3)
    crossings = np.diff(np.signbit(np.where(np.abs(burst) < burst_v / 4, 0, burst))).sum()
    assert crossings / 2 == pytest.approx(system.burst_cycles, abs=1)


@pytest.mark.parametrize(("system", "broad", "short"), [(PAL, 5, 10), (NTSC, 6, 12)])
def test_field_sync(system: System, broad: int, short: int) -> None:
    """ITU-R BT.470 table 1-2: broad pulses in each field, as many equalising before and after."""
    t_s = np.arange(round(20e6 * 2 * system.field_s)) / 20e6
    tip = Composite(system, burst=0.0, chroma=0.0).volts(t_s + 50.5 * system.line_s) < -0.14
    edges = np.flatnonzero(np.diff(tip.astype(int)))
    assert not tip[0], "the record begins within a picture"
    starts, ends = edges[0::2], edges[1::2]
    widths_us = (ends - starts) / 20
    assert (widths_us > 20).sum() == 2 * broad
    assert (widths_us < 3).sum() == 2 * short
    assert ((widths_us > 4) & (widths_us < 6)).sum() == 2 * (
        system.lines / 2 - (3 * system.equalising_before) / 2
    )


def test_the_pal_switch() -> None:
    """ITU-R BT.470: the burst's phase is 135° and -135° from U on alternate lines."""
    angles = []
    for line in (100, 101):
        late_s, volts = make_line(Composite(PAL), line)
        t_s = late_s + line * PAL.line_s
        inside = (late_s > 6e-6) & (late_s < 7.5e-6)
        reference = np.exp(-2j * np.pi * PAL.subcarrier_hz * t_s[inside])
        angles.append(np.rad2deg(np.angle(1j * (volts[inside] * reference).sum())))
    assert sorted(angles) == pytest.approx([-135, 135], abs=3)


def test_stopped_switch_and_missing_burst() -> None:
    stopped = Composite(PAL, pal_switch_runs=False)
    _, odd = make_line(stopped, 101)
    _, switched = make_line(Composite(PAL), 101)
    assert np.abs(odd - switched).max() > 0.3
    late_s, bare = make_line(Composite(PAL, burst=0.0), 100)
    assert np.abs(bare[(late_s > 5.4e-6) & (late_s < 9e-6)]).max() < 1e-9


def test_sandcastle_flyback_and_field_drive() -> None:
    late_s = np.arange(64_000) / 1e9
    castle = Sandcastle().volts(late_s + 100 * PAL.line_s)
    assert castle[7_000] == pytest.approx(5.3)
    assert castle[(late_s > 12e-6) & (late_s < 60e-6)] == pytest.approx(0.2)
    assert (castle > 4.15).sum() / 1e9 == pytest.approx(4e-6, abs=20e-9)
    pulse = Flyback().volts(late_s)
    assert pulse.max() == pytest.approx(7.7)
    assert pulse.mean() == pytest.approx(7.7 * 2 / np.pi * 12 / 64, rel=1e-3)
    t_s = np.linspace(0, 20e-3, 10_001)
    trace = FieldDrive(50.0, 2.0, s_correction=0.0).volts(t_s)
    assert trace[[0, 4_750]] == pytest.approx([-1.0, 0.0], abs=1e-9)
    assert np.ptp(trace) == pytest.approx(2.0, rel=1e-3)


def test_the_way_to_the_file() -> None:
    """Dividing, coupling, turning over and cutting do what their names say."""
    how = Recording(10_000, 25e6, 100 * PAL.line_s, seed=3, bits=12, noise_share=0.0)
    (plain,) = record(Composite(PAL).volts, 3.0, 1.0, how).channels
    (tenth,) = record(Composite(PAL).volts, 3.0, 1.0, replace(how, factor=0.1)).channels
    (coupled,) = record(Composite(PAL).volts, 3.0, 1.0, replace(how, is_ac_coupled=True)).channels
    (turned,) = record(Composite(PAL).volts, 3.0, 1.0, replace(how, is_inverted=True)).channels
    (cut,) = record(Composite(PAL).volts, 3.0, 1.0, replace(how, cut_share=0.2)).channels
    assert tenth == pytest.approx(plain / 10, abs=2e-3)
    assert coupled.mean() == pytest.approx(0.0, abs=1e-3)
    assert turned == pytest.approx(2 * plain.mean() - plain, abs=3e-3)
    assert cut.max() == pytest.approx(plain.max() - 0.2, abs=0.06)
