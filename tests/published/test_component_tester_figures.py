"""Figures of a component tester, against alternating-current theory and a solver of equations.

Two sines of one frequency, phi apart, draw the ellipse
(v/V)^2 + (i/I)^2 - 2 (v/V)(i/I) cos phi = sin^2 phi; it crosses the middle at I sin phi.
An impedance Z behind a resistance R has V = E |Z| / |R + Z| across it and I = E / |R + Z| through
it. Source: any textbook of alternating currents, from memory. An uneven load has no formula: scipy
integrates it.
"""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
from pinfolio.schema.measuring.tester_figure import Bend, Drive, Load, compute_figure
from scipy.integrate import solve_ivp

DRIVE = Drive(8.5, 1e3, 50.0)
OMEGA = 2 * math.pi * 50.0


@pytest.mark.parametrize(
    ("load", "ohm"),
    [
        (Load(siemens=1 / 470), 470 + 0j),
        (Load(siemens=1 / 22e3), 22e3 + 0j),
        (Load(farad=2.2e-6), 1 / (1j * OMEGA * 2.2e-6)),
        (Load(coils_henry=(3.0,)), 1j * OMEGA * 3.0),
        (Load(1 / 1.5e3, 1e-6), 1 / (1 / 1.5e3 + 1j * OMEGA * 1e-6)),
        (Load(farad=4.7e-6, coils_henry=(1.0,)), 1 / (1j * OMEGA * 4.7e-6 - 1j / OMEGA)),
    ],
    ids=["470 ohm", "22 kilohm", "2.2 uF", "3 H", "1.5 kilohm beside 1 uF", "1 H beside 4.7 uF"],
)
def test_a_load_without_bends_draws_the_ellipse_of_the_phasors(load: Load, ohm: complex) -> None:
    figure = compute_figure(DRIVE, load)
    v_peak = DRIVE.peak_v * abs(ohm) / abs(DRIVE.source_ohm + ohm)
    a_peak = DRIVE.peak_v / abs(DRIVE.source_ohm + ohm)
    phi = cmath.phase(ohm)
    assert figure.span_v == pytest.approx((-v_peak, v_peak), rel=1e-4)
    assert figure.span_a == pytest.approx((-a_peak, a_peak), rel=1e-4)
    x, y = np.array(figure.volts) / v_peak, np.array(figure.amperes) / a_peak
    assert x**2 + y**2 - 2 * x * y * math.cos(phi) == pytest.approx(math.sin(phi) ** 2, abs=1e-9)
    crossing = np.abs(y[np.argmin(np.abs(x))])
    assert crossing == pytest.approx(abs(math.sin(phi)), abs=5e-3)
    assert figure.area_w == pytest.approx(math.pi * v_peak * a_peak * abs(math.sin(phi)), abs=1e-6)


def test_a_resistor_draws_a_line_of_its_own_slope() -> None:
    figure = compute_figure(DRIVE, Load(siemens=1 / 2.7e3))
    assert np.array(figure.volts) == pytest.approx(2.7e3 * np.array(figure.amperes), abs=1e-12)


def test_open_and_short_are_the_axes() -> None:
    nothing, short = compute_figure(DRIVE, Load()), compute_figure(DRIVE, Load(siemens=1e3))
    assert nothing.span_v == pytest.approx((-8.5, 8.5))
    assert nothing.span_a == (0, 0)
    assert short.span_a == pytest.approx((-8.5e-3, 8.5e-3), rel=1e-5)
    assert short.span_v[1] < 1e-4


def test_a_zener_diode_holds_its_two_voltages() -> None:
    """At the peak the source drives (E - U) / (R + r): Ohm's law with the drop taken off."""
    figure = compute_figure(DRIVE, Load(bends=(Bend(-1, 0.6, 8.0), Bend(1, 4.7, 15.0))))
    forward_a, reverse_a = (8.5 - 0.6) / 1008, (8.5 - 4.7) / 1015
    assert figure.span_a == pytest.approx((-forward_a, reverse_a))
    assert figure.span_v == pytest.approx((-0.6 - 8 * forward_a, 4.7 + 15 * reverse_a))


def test_the_stepped_figure_of_an_even_load_is_that_of_the_phasors() -> None:
    even = (Bend(1, 0.0, 1.5e3), Bend(-1, 0.0, 1.5e3))
    stepped = compute_figure(DRIVE, Load(farad=1e-6, bends=even))
    exact = compute_figure(DRIVE, Load(siemens=1 / 1.5e3, farad=1e-6))
    assert stepped.is_bent
    assert not exact.is_bent
    assert stepped.span_v == pytest.approx(exact.span_v, rel=5e-3)
    assert stepped.span_a == pytest.approx(exact.span_a, rel=5e-3)
    assert stepped.area_w == pytest.approx(exact.area_w, rel=0.01)


@pytest.mark.parametrize("farad", [100e-9, 1e-6, 10e-6])
def test_a_capacitor_beside_a_junction_as_a_solver_integrates_it(farad: float) -> None:
    def charge(t_s: float, v: np.ndarray) -> list[float]:
        source = (8.5 * math.sin(OMEGA * t_s) - v[0]) / 1e3
        taken = v[0] / 11e3 + min(0.0, v[0] + 0.65) / 40
        return [(source - taken) / farad]

    last_s = np.linspace(0.98, 1.0, 400)  # fifty periods on, the charge repeats
    solved = solve_ivp(charge, (0, 1), [0.0], t_eval=last_s, max_step=2e-4, method="LSODA").y[0]
    load = Load(1 / 11e3, farad, bends=(Bend(-1, 0.65, 40.0),))
    assert compute_figure(DRIVE, load).span_v == pytest.approx(
        (solved.min(), solved.max()), rel=0.01
    )
