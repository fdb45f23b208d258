"""Effects of single faults round a vision and sound IF chip, each common practice of the trade."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.board.cloud import Cloud, Hypothesis, Seen
from pinfolio.plugins.diagnosis.board.simulate import simulate_failure

CHIP = Path(__file__).parents[3] / "benchmarks" / "practice" / "pzk3128" / "pzk3128.yaml"
BARS = "colour bars"


@cache
def break_board(kind: str, what: str, failure: str) -> Cloud:
    return simulate_failure(load_chip(CHIP), BARS, Hypothesis(kind, what, failure, "", 1.0))  # type: ignore[arg-type]


def read_dc_v(cloud: Cloud, at: str) -> float:
    return float(np.median(cloud.dc_v[1, :, cloud.column[at]]))


def read_vpp(cloud: Cloud, at: str) -> float:
    return float(np.median(cloud.vpp_v[1, :, cloud.column[at]]))


def read_good_vpp(cloud: Cloud, at: str) -> float:
    return float(cloud.healthy_vpp_v[cloud.column[at]])


def test_nothing_feeds_a_chip_whose_feed_resistor_is_open() -> None:
    """A signal that comes in by a capacitor brings no supply with it."""
    feed_open = break_board("part", "R125", "open")
    assert abs(read_dc_v(feed_open, "pin 13")) < 0.1
    assert read_dc_v(feed_open, "pin 25") == pytest.approx(17, rel=0.05)


@pytest.mark.parametrize(("ref", "failure"), [("Q101", "open"), ("C101", "open")])
def test_a_dead_preamplifier_leaves_noise(ref: str, failure: str) -> None:
    dead = break_board("part", ref, failure)
    assert read_vpp(dead, "pin 1") < 0.1 * read_good_vpp(dead, "pin 1")
    # The AGC goes to full gain, which brings up snow and hiss.
    assert read_dc_v(dead, "pin 4") == pytest.approx(3.3, abs=0.3)
    for at in ("pin 14", "pin 24"):
        assert read_vpp(dead, at) > 0.1 * read_good_vpp(dead, at)
        noisy = dead.words[1, :, dead.column[at]] & Seen.NOISE
        assert (noisy > 0).mean() > 0.8


def test_without_its_carrier_the_sound_limiter_hisses() -> None:
    no_carrier = break_board("part", "C110", "open")
    assert read_vpp(no_carrier, "pin 15") < 0.01
    assert 0.1 < read_vpp(no_carrier, "pin 24") / read_good_vpp(no_carrier, "pin 24") < 1.3


def test_without_its_reference_circuit_a_synchronous_demodulator_gives_no_picture() -> None:
    coil_open = break_board("part", "L101", "open")
    assert read_vpp(coil_open, "pin 11") < 0.1 * read_good_vpp(coil_open, "pin 11")
    luminance = coil_open.shown[1, :, coil_open.feature["luminance"]]
    assert np.median(luminance) < 0.1


@pytest.mark.parametrize(("ref", "failure"), [("R121", "open"), ("C117", "open")])
def test_an_output_stage_without_its_feedbacks_foot_has_a_gain_of_one(
    ref: str, failure: str
) -> None:
    """Gain 1 + 12 kΩ / 120 Ω = 101, else 1 (non-inverting amplifier: Horowitz and Hill, The Art of
    Electronics, 4.2); the catalogue's own figures, 5.5 V from 60 mV, give 92."""
    footless = break_board("part", ref, failure)
    share = read_vpp(footless, "pin 24") / read_good_vpp(footless, "pin 24")
    assert share == pytest.approx(1 / 101, rel=0.3)
    assert read_dc_v(footless, "pin 24") == pytest.approx(8.5, rel=0.05)


def test_an_output_rests_where_its_half_supply_lies() -> None:
    half_gone = break_board("part", "C121", "shorted")
    volts = half_gone.dc_v[1, :, half_gone.column["pin 24"]]
    assert (np.abs(volts - 8.5) > 4).mean() > 0.9


def test_an_output_whose_bootstrap_has_no_feed_is_dead() -> None:
    feed_open = break_board("part", "R122", "open")
    assert read_vpp(feed_open, "pin 24") < 0.05


def test_without_its_damping_an_output_stage_whistles() -> None:
    damping_open = break_board("part", "C120", "open")
    distorted = damping_open.words[1, :, damping_open.column["pin 24"]] & Seen.DISTORTED
    assert 0.4 < (distorted > 0).mean() < 0.95


def test_a_follower_that_nothing_pulls_down_keeps_the_peaks() -> None:
    load_open = break_board("part", "R114", "open")
    share = read_vpp(load_open, "video-line") / read_good_vpp(load_open, "video-line")
    assert 0.2 < share < 0.75
    assert read_vpp(load_open, "pin 14") == pytest.approx(2.5, rel=0.01)


def test_a_divider_at_an_output_shows_that_it_puts_out_a_current() -> None:
    """Two resistors of 100 kΩ from supply and ground: without one the AFC runs to an end."""
    upper_open = break_board("part", "R110", "open")
    assert read_dc_v(upper_open, "pin 8") < 4
    lower_open = break_board("part", "R111", "open")
    assert read_dc_v(lower_open, "pin 8") > 8


def test_a_tuner_agc_without_its_pull_up_is_low() -> None:
    """An open collector sinks what the resistor brings, and is not off."""
    pull_up_open = break_board("part", "R107", "open")
    assert read_dc_v(pull_up_open, "pin 6") < 4
