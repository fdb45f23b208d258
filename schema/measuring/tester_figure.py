"""The figure of a component tester: current upwards over voltage to the right, for a load.

A sine from an AC source through a resistance drives the load. A load without bends draws an ellipse
or a straight line, by phasors; one with diodes is stepped through a period that repeats.
Source: phasors and the Lissajous ellipse of two sines of one frequency, any textbook of alternating
currents, from memory; backward Euler, any textbook of numerical methods.
"""

from __future__ import annotations

import cmath
import math
from typing import Final, NamedTuple

LEAST_OHM: Final = 1e-3  # of anything that conducts
_STEPS: Final = 1440  # of a period, four a degree
_HALVINGS: Final = 30  # of the open-circuit voltage, to find the charge that repeats


class Drive(NamedTuple):
    """The source of a component tester."""

    peak_v: float
    """Open-circuit voltage, peak."""
    source_ohm: float
    frequency_hz: float

    @property
    def peak_a(self) -> float:
        """Peak current into a short."""
        return self.peak_v / self.source_ohm


class Bend(NamedTuple):
    """A conductance from a voltage on: a diode's drop, the breakdown of a zener diode."""

    side: int
    """1 where it conducts with the tester's hot lead positive, -1 with it negative."""
    from_v: float
    """Voltage without its sign."""
    ohm: float


class Load(NamedTuple):
    """All that is in parallel between the leads; nothing is an open circuit."""

    siemens: float = 0.0
    farad: float = 0.0
    coils_henry: tuple[float, ...] = ()
    bends: tuple[Bend, ...] = ()

    def join(self, other: Load) -> Load:
        """Return both loads in parallel."""
        return Load(
            self.siemens + other.siemens,
            self.farad + other.farad,
            self.coils_henry + other.coils_henry,
            self.bends + other.bends,
        )

    def compute_siemens(self, frequency_hz: float) -> complex:
        """Return the admittance without the bends."""
        omega = 2 * math.pi * frequency_hz
        coils = sum(-1j / max(omega * henry, LEAST_OHM) for henry in self.coils_henry)
        return self.siemens + 1j * omega * self.farad + coils


class Figure(NamedTuple):
    """One period of the figure: voltage across the load and current into it, instant by instant."""

    volts: tuple[float, ...]
    amperes: tuple[float, ...]
    is_bent: bool
    """Whether a bend of the load is reached."""

    @property
    def span_v(self) -> tuple[float, float]:
        """Leftmost and rightmost voltage."""
        return min(self.volts), max(self.volts)

    @property
    def span_a(self) -> tuple[float, float]:
        """Lowest and highest current."""
        return min(self.amperes), max(self.amperes)

    @property
    def area_w(self) -> float:
        """Area inside the figure, in volt-amperes, without its sign: 0 for a line."""
        pairs = zip(self.volts, self.amperes, strict=True)
        ahead = zip(_turn(self.volts), _turn(self.amperes), strict=True)
        crossed = ((v * to_a - to_v * a) for (v, a), (to_v, to_a) in zip(pairs, ahead, strict=True))
        return abs(sum(crossed)) / 2


def compute_figure(drive: Drive, load: Load) -> Figure:
    """Return the figure of a load, settled.

    A coil beside a bend that is reached is taken for its reactance as a resistance: at mains
    frequency the coils of a signal circuit are nearly a short.

    >>> halved = compute_figure(Drive(10.0, 1e3, 50.0), Load(siemens=1e-3))
    >>> round(halved.span_v[1], 3), round(halved.span_a[1], 6)
    (5.0, 0.005)
    """
    admittance = load.compute_siemens(drive.frequency_hz)
    voltage = drive.peak_v / (1 + drive.source_ohm * admittance)  # complex amplitude
    # Below every bend the load is linear: voltage and current are sines, the figure an ellipse.
    if not any(abs(voltage) > bend.from_v for bend in load.bends):
        angles = [2 * math.pi * step / _STEPS for step in range(_STEPS)]
        current = voltage * admittance
        return Figure(
            tuple((voltage * cmath.exp(1j * angle)).imag for angle in angles),
            tuple((current * cmath.exp(1j * angle)).imag for angle in angles),
            is_bent=False,
        )
    omega = 2 * math.pi * drive.frequency_hz
    coils_siemens = sum(1 / max(omega * henry, LEAST_OHM) for henry in load.coils_henry)
    return _settle(drive, load._replace(siemens=load.siemens + coils_siemens))


def _settle(drive: Drive, load: Load) -> Figure:
    """Return the period that ends with the voltage it began with."""
    low_v, high_v = -drive.peak_v, drive.peak_v
    # Without a capacitor no charge is carried over, and any start gives the same period.
    for _ in range(_HALVINGS if load.farad else 0):
        start_v = (low_v + high_v) / 2
        # The voltage at the end grows less than that at the start: one start repeats.
        if _step_through_period(drive, load, start_v)[-1] > start_v:
            low_v = start_v
        else:
            high_v = start_v
    volts = _step_through_period(drive, load, (low_v + high_v) / 2)
    angles = (2 * math.pi * step / _STEPS for step in range(1, _STEPS + 1))
    source_volts = (drive.peak_v * math.sin(angle) for angle in angles)
    amperes = [
        (source_v - load_v) / drive.source_ohm
        for source_v, load_v in zip(source_volts, volts, strict=True)
    ]
    return Figure(tuple(volts), tuple(amperes), is_bent=True)


def _step_through_period(drive: Drive, load: Load, start_v: float) -> list[float]:
    """Return the voltages across the load after each step."""
    charging = load.farad * drive.frequency_hz * _STEPS
    volts, now_v = [], start_v
    for step in range(1, _STEPS + 1):
        emf = drive.peak_v * math.sin(2 * math.pi * step / _STEPS)
        amperes = charging * now_v + emf / drive.source_ohm
        now_v = _solve(load, charging + load.siemens + 1 / drive.source_ohm, amperes)
        volts.append(now_v)
    return volts


def _solve(load: Load, siemens: float, amperes: float) -> float:
    """Return the voltage at which ``siemens`` and the bends together take ``amperes``."""
    side = 1 if amperes > 0 else -1
    wanted, volts = abs(amperes), abs(amperes) / siemens
    # A bend lowers the voltage, but never below where it begins: one pass in order is enough.
    for bend in sorted(load.bends, key=lambda bend: bend.from_v):
        if bend.side == side and volts > bend.from_v:
            siemens += 1 / bend.ohm
            wanted += bend.from_v / bend.ohm
            volts = wanted / siemens
    return side * volts


def _turn(values: tuple[float, ...]) -> tuple[float, ...]:
    """Return the values with the first one last."""
    return (*values[1:], values[0])
