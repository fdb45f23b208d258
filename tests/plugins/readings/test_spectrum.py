"""Lines of a spectrum, on spectra written by hand and on sines whose figures are known.

Sources: Rife and Vincent (1970) for interpolation between the bins of a Hann window, whose main
lobe has the height 1/2 at its neighbours when the line is on a bin, and equal heights when it is
half-way; Rife and Boorstyn (1974) for the Cramér-Rao bound.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from pinfolio.plugins.readings.spectrum import (
    Line,
    NoFrequency,
    Spectrum,
    find_strongest_line,
    refine_line,
)
from pinfolio.schema.waveforms import Samples

COUNT, INTERVAL_S = 9000, 1e-6


def make_sine(cycles: float, amplitude_v: float = 2.0, count: int = COUNT) -> Samples:
    return amplitude_v * np.sin(2 * np.pi * cycles / count * np.arange(count) + 0.4)


def find_line(volts: Samples, noise_v: float = 0.0) -> Line:
    return find_strongest_line(Spectrum.compute(volts, INTERVAL_S), noise_v)


def draw_spectrum(count: int = 200, **heights: float) -> Spectrum:
    """A spectrum with bins of these heights, named ``b`` and their number."""
    size = np.full(count // 2 + 1, 1e-6)
    for name, height in heights.items():
        size[int(name.removeprefix("b"))] = height
    return Spectrum(size, count, INTERVAL_S)


def count_cycles(spectrum: Spectrum) -> float:
    return find_strongest_line(spectrum, 0.0).cycles


@pytest.mark.parametrize(
    ("samples", "used"), [(2500, 2500), (4095, 4095), (4097, 4096), (9001, 9000), (20_007, 20_000)]
)
def test_a_long_record_is_cut_to_a_length_with_factors_of_two(samples: int, used: int) -> None:
    assert Spectrum.compute(np.zeros(samples), INTERVAL_S).count == used


def test_white_noise_has_the_deviation_it_was_drawn_with() -> None:
    """The median of half of 2^17 exponential powers is known to 0.3 %."""
    noise = np.random.default_rng(3).normal(0, 0.25, 2**17)
    assert Spectrum.compute(noise, INTERVAL_S).noise_v == pytest.approx(0.25, rel=0.01)


@pytest.mark.parametrize("cycles", [40.0, 40.3, 40.5, 40.7, 311.25])
def test_a_sine_between_the_bins(cycles: float) -> None:
    line = find_line(make_sine(cycles))
    assert line.cycles == pytest.approx(cycles, abs=1e-3)
    assert line.hz == pytest.approx(cycles / (COUNT * INTERVAL_S), rel=1e-4)
    assert line.amplitude_v == pytest.approx(2.0, rel=1e-3)


@pytest.mark.parametrize(
    ("above", "below", "cycles"),
    [(0.5, 0.5, 20.0), (1.0, 0.2, 20.5), (0.2, 1.0, 19.5), (0.8, 0.4, 20 + 1 / 3)],
)
def test_the_greater_neighbour_tells_which_way_and_how_far(
    above: float, below: float, cycles: float
) -> None:
    """A ratio r to the peak is an offset of (2 r - 1) / (r + 1) bins (Rife and Vincent)."""
    assert count_cycles(draw_spectrum(b20=1.0, b21=above, b19=below)) == pytest.approx(
        cycles, abs=1e-4
    )


def test_a_line_must_stand_out_of_the_noise() -> None:
    """Four times the power of the strongest of N / 2 bins of noise, which is ln N of the mean.

    On a bin a sine of amplitude A has the height A N / 4, and noise the mean power 3/8 N sigma²
    (the mean of the squared window): A² = 24 sigma² ln N / N.
    """
    least_noise_v = 2.0 / math.sqrt(24 * math.log(COUNT) / COUNT)
    assert find_line(make_sine(40), 0.98 * least_noise_v).cycles == pytest.approx(40, abs=1e-3)
    with pytest.raises(NoFrequency, match="no repeating signal"):
        find_line(make_sine(40), 1.02 * least_noise_v)


@pytest.mark.parametrize(("neighbour", "clear"), [(1.0, True), (0.97, False)])
def test_one_and_a_half_cycles_are_the_fewest(neighbour: float, clear: bool) -> None:
    spectrum = draw_spectrum(b1=1.0, b2=neighbour)
    if clear:
        assert count_cycles(spectrum) == 1.5
    else:
        with pytest.raises(NoFrequency, match="less than two periods"):
            find_strongest_line(spectrum, 0.0)


def test_four_bins_are_the_fewest() -> None:
    assert find_line(np.array([0.0, 1.0, -1.0, 0.0, 1.0, -1.0])).cycles == pytest.approx(2, abs=0.2)
    with pytest.raises(NoFrequency, match="too few samples"):
        find_line(np.array([0.0, 1.0, 0.0, -1.0, 0.0]))


class TestTheFundamental:
    """The lowest line of which the strongest is a harmonic, if it has 15 % of its amplitude."""

    @pytest.mark.parametrize(
        ("strongest", "lowest", "order"),
        [(24, 12, 2), (12, 4, 3), (12, 3, 4), (6, 3, 2), (48, 4, 12)],
    )
    def test_is_found_under_its_harmonic(self, strongest: int, lowest: int, order: int) -> None:
        assert strongest == order * lowest
        found = count_cycles(draw_spectrum(**{f"b{strongest}": 1.0, f"b{lowest}": 0.5}))
        assert found == pytest.approx(lowest, abs=0.01)

    @pytest.mark.parametrize(
        ("strongest", "lower"),
        [
            (260, 20),  # the thirteenth
            (24, 1),  # closer than three bins to zero
            (5, 3),  # closer than three bins to the strongest
            (25, 10),  # no harmonic of it
        ],
    )
    def test_is_not_sought_further(self, strongest: int, lower: int) -> None:
        found = count_cycles(draw_spectrum(1000, **{f"b{strongest}": 1.0, f"b{lower}": 0.5}))
        assert found == pytest.approx(strongest, abs=0.01)

    @pytest.mark.parametrize(("height", "lowest"), [(0.16, 10), (0.14, 30)])
    def test_has_a_share_of_the_strongest(self, height: float, lowest: int) -> None:
        assert count_cycles(draw_spectrum(b30=1.0, b10=height)) == pytest.approx(lowest, abs=0.01)

    @pytest.mark.parametrize("lowest", [11, 12, 13])
    def test_may_be_a_bin_beside(self, lowest: int) -> None:
        found = count_cycles(draw_spectrum(**{"b24": 1.0, f"b{lowest}": 0.5}))
        assert found == pytest.approx(lowest, abs=0.01)

    @pytest.mark.parametrize("beside", ["b9", "b13"])
    def test_is_a_line_of_its_own_and_no_slope_of_another(self, beside: str) -> None:
        assert count_cycles(draw_spectrum(b22=1.0, b11=0.5, **{beside: 0.6})) == pytest.approx(
            22, abs=0.01
        )

    def test_the_lowest_of_several_counts(self) -> None:
        assert count_cycles(draw_spectrum(b24=1.0, b12=0.5, b8=0.5)) == pytest.approx(8, abs=0.01)


def test_a_harmonic_divides_with_its_uncertainty() -> None:
    line = Line(hz=900.0, amplitude_v=2.0, cycles=30.0, uncertainty_hz=0.75)
    assert line.divide(3) == Line(hz=300.0, amplitude_v=2.0, cycles=10.0, uncertainty_hz=0.25)


class TestRefined:
    def test_the_phase_of_two_thirds_tells_the_frequency(self) -> None:
        """A rough frequency a tenth of a cycle off over the record."""
        volts = make_sine(300.0)
        rough = Line(hz=300.1 / (COUNT * INTERVAL_S), amplitude_v=2.0, cycles=300.1)
        refined = refine_line(volts, INTERVAL_S, rough, 0.0)
        assert refined.hz == pytest.approx(300.0 / (COUNT * INTERVAL_S), rel=1e-7)
        assert (refined.amplitude_v, refined.cycles) == (2.0, 300.1)

    @pytest.mark.parametrize(("cycles", "moves"), [(9.0, True), (8.9, False)])
    def test_nine_cycles_are_enough_for_the_phase(self, cycles: float, moves: bool) -> None:
        rough_hz = cycles / (COUNT * INTERVAL_S)
        refined = refine_line(
            make_sine(cycles + 0.05), INTERVAL_S, Line(rough_hz, 2.0, cycles), noise_v=0.0
        )
        assert (refined.hz != rough_hz) == moves
        assert refined.uncertainty_hz > 0

    @pytest.mark.parametrize("noise_v", [0.02, 0.2])
    def test_the_uncertainty_is_the_bound_of_the_thirds(self, noise_v: float) -> None:
        """Two Hann-windowed thirds: sqrt(1.5 x 27 / 24) = 1.3 of the bound of a real tone."""
        bound_hz = math.sqrt(24 / COUNT**3) * noise_v / 2.0 / (2 * math.pi * INTERVAL_S)
        line = Line(300.0 / (COUNT * INTERVAL_S), 2.0, 300.0)
        refined = refine_line(make_sine(300.0), INTERVAL_S, line, noise_v)
        assert refined.uncertainty_hz == pytest.approx(1.3 * bound_hz, rel=0.01)

    def test_few_cycles_are_uncertain_by_the_bound_of_the_whole(self) -> None:
        """So much noise that leakage is nothing beside it: 1.7 of the bound."""
        bound_hz = math.sqrt(24 / COUNT**3) * 200.0 / 2.0 / (2 * math.pi * INTERVAL_S)
        line = Line(6.0 / (COUNT * INTERVAL_S), 2.0, 6.0)
        refined = refine_line(make_sine(6.0), INTERVAL_S, line, 200.0)
        assert refined.uncertainty_hz == pytest.approx(1.7 * bound_hz, rel=0.01)

    @pytest.mark.parametrize("cycles", [4.0, 6.0])
    def test_a_clean_sine_is_uncertain_by_its_own_image(self, cycles: float) -> None:
        """A Hann window passes 1 / (pi b (b² - 1)) of a line b bins away: of its negative
        frequency at twice its cycles, taken one and a half times."""
        bins = 2 * cycles
        leaks = 1 / (math.pi * bins * (bins**2 - 1))
        line = Line(cycles / (COUNT * INTERVAL_S), 2.0, cycles)
        refined = refine_line(make_sine(cycles), INTERVAL_S, line, 0.0)
        assert refined.uncertainty_hz == pytest.approx(1.5 * leaks / (COUNT * INTERVAL_S), rel=1e-3)

    @pytest.mark.parametrize(("cycles", "share", "factor"), [(6.0, 1.0, 1.5), (30.0, 1 / 3, None)])
    def test_other_lines_leak_from_their_own_distance(
        self, cycles: float, share: float, factor: float | None
    ) -> None:
        """A second line of half the power: its root, 0.707, leaks over the cycles of the first."""
        volts = make_sine(cycles) + make_sine(5 * cycles, 2.0 / math.sqrt(2))
        bins = cycles * share
        image, other = (1 / (math.pi * b * (b**2 - 1)) for b in (2 * bins, bins))
        line = Line(cycles / (COUNT * INTERVAL_S), 2.0, cycles)
        refined = refine_line(volts, INTERVAL_S, line, 0.0)
        leaks = image + math.sqrt(0.5) * other
        # A phase between thirds, 2/3 of the record apart, is a frequency of 1 / (2 pi 2/3 T).
        per_leak_hz = (factor or 1 / (2 * math.pi * 2 / 3)) / (COUNT * INTERVAL_S)
        assert refined.uncertainty_hz == pytest.approx(leaks * per_leak_hz, rel=1e-3)
