"""Deflection waveforms against the circuit, the geometry of the screen and scipy.signal."""

import numpy as np
import pytest
from pinfolio.schema.waveforms import WAVEFORM_KINDS
from scipy import integrate, signal


def read(kind, **fields):
    return WAVEFORM_KINDS[kind].model_validate({"kind": kind, **fields})


def test_flyback_pulse_solves_the_resonant_circuit():
    """Yoke and tuning capacitor swing freely for half a cycle: L C v'' = -v, solved by scipy.

    1 mH and 14.59 nF, 12 µs of flyback; a yoke current of 3.1 A at its start.
    """
    inductance_h, width_s, current_a = 1e-3, 12e-6, 3.1
    capacitance_f = (width_s / np.pi) ** 2 / inductance_h
    peak_v = current_a * np.sqrt(inductance_h / capacitance_f)
    pulse = read("flyback pulse", system="PAL-B/G", peak=f"{peak_v:.6f} V", width="12 µs")
    t_s = np.linspace(0, width_s, 200)

    def circuit(_, state):
        v, i = state
        return [i / capacitance_f, -v / inductance_h]

    swing = integrate.solve_ivp(
        circuit, (0, width_s), [0, current_a], t_eval=t_s, rtol=1e-9, atol=1e-9
    )
    assert pulse.volts(t_s) == pytest.approx(swing.y[0], abs=1e-3)


def test_flyback_pulse_against_its_supply():
    """No mean voltage across a coil: peak = supply (pi/2) (line/flyback), 8.4 times at 12 of 64 µs.

    The textbook figure is eight to nine times the supply. Common practice.
    """
    pulse = read("flyback pulse", system="PAL-B/G", peak="1000 V", width="12 µs")
    assert 1000 / pulse.mean_v == pytest.approx(np.pi / 2 * 64 / 12)
    t_s = np.linspace(0, 64e-6, 20_001)
    assert np.trapezoid(pulse.volts(t_s), t_s) / 64e-6 == pytest.approx(pulse.mean_v, rel=1e-6)


@pytest.mark.parametrize("system", ["PAL-B/G", "NTSC-M"])
def test_vertical_drive_without_s_correction(system):
    """scipy.signal.sawtooth: ``width`` is the share of the period that rises."""
    drive = read("vertical drive", system=system, vpp="2 Vpp", retrace="5 %")
    t_s = np.linspace(-0.05, 0.05, 4001) + 1.3e-6
    theirs = signal.sawtooth(2 * np.pi * drive.frequency_hz * t_s, width=0.95)
    assert drive.volts(t_s) == pytest.approx(theirs, abs=1e-6)


def test_s_correction_is_that_of_a_flat_screen():
    """The beam turned by an angle a lands at tan a, and sin a follows the current.

    A 90° tube, 4 by 3 with a right angle from corner to corner, has tan a = 3/5 at top and bottom
    (geometry). There the drive that moves the spot evenly is x / sqrt(1 + x² tan² a), scaled to 1
    at the edge; the nearest cubic, by least squares, differs by less than 0.4 % of half the height.
    """
    x = np.linspace(-1, 1, 401)
    tangent = 0.6
    exact = np.sin(np.arctan(x * tangent)) / np.sin(np.arctan(tangent))
    (cubic,), *_ = np.linalg.lstsq((x**3 - x)[:, None], exact - x, rcond=None)
    share = cubic / (cubic - 1)  # (x - s x³)/(1 - s) = x - s/(1 - s) (x³ - x)
    assert share == pytest.approx(tangent**2 / 2, rel=0.3)  # the series, see below
    drive = read(
        "vertical drive", system="PAL-B/G", vpp="2 Vpp", s_correction=f"{100 * share:.9f} %"
    )
    t_s = (x[:-1] + 1) / 2 * drive.period_s
    assert drive.volts(t_s) == pytest.approx(exact[:-1], abs=4e-3)


def test_s_correction_begins_as_the_series_says():
    """x / sqrt(1 + x² T²) = x - T² x³/2 + ... (binomial series): small angles want s = T²/2."""
    tangent = np.tan(np.deg2rad(8))
    share = tangent**2 / 2
    drive = read(
        "vertical drive", system="PAL-B/G", vpp="2 Vpp", s_correction=f"{100 * share:.9f} %"
    )
    x = np.linspace(-1, 1, 101)[:-1]
    exact = x / np.sqrt(1 + (x * tangent) ** 2) * np.sqrt(1 + tangent**2)
    assert drive.volts((x + 1) / 2 * drive.period_s) == pytest.approx(exact, abs=2e-4)


@pytest.mark.parametrize(("trapezium", "lean"), [("20 %", 0.2), ("-35 %", -0.35)])
def test_east_west_parabola_fits_a_quadratic(trapezium, lean):
    """numpy's least squares finds the square and the tilt that were asked for, and no mean."""
    wave = read("east-west parabola", system="PAL-B/G", vpp="1.5 Vpp", trapezium=trapezium)
    x = np.linspace(-1, 1, 2001)[:-1]
    v = wave.volts((x + 1) / 2 * wave.period_s)
    square, tilt, constant = np.polynomial.Polynomial.fit(x, v, 2).convert().coef[::-1]
    assert tilt / square == pytest.approx(lean / 2, rel=1e-6)
    assert constant / square == pytest.approx(-1 / 3, rel=1e-6)
    assert np.ptp(v) == pytest.approx(1.5, rel=2e-3)


def test_ripple_of_a_control_voltage_has_the_mean_of_a_sawtooth():
    """Charged for a tenth of the time: scipy.signal.sawtooth with width 0.1, on the level."""
    wave = read("control voltage", level="3.2 V", ripple="0.2 Vpp", ripple_frequency="50 Hz")
    t_s = np.linspace(0, 0.06, 3001)
    theirs = 3.2 + 0.1 * signal.sawtooth(2 * np.pi * 50 * t_s, width=0.1)
    assert wave.volts(t_s) == pytest.approx(theirs, abs=1e-9)
    assert wave.mean_v == 3.2
