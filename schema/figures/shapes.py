"""The kinds of waveform that are fitted to a drawn curve, each as a shape with parameters.

A shape is 1 high from its lowest to its highest point, and its first parameter shifts it in time.
A fitted shape becomes a waveform as a chip file writes it, with figures rounded to the precision
of a drawing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from ..quantities import Quantity, parse_quantity, print_value
from ..systems import SCANNING, System
from ..waveforms import Waveform
from ..waveforms.corners import WHOLE_EDGE
from ..waveforms.kinds.basic_shapes import Parabola, Pulse, Sawtooth, Sine
from ..waveforms.kinds.deflection import FlybackPulse
from .least_squares import Floats, Shape, ShapeFit

_SHARP: Final = 0.008  # an edge or retrace shorter than this share of the period is at once
_SHIFTS: Final = tuple(np.arange(0, 1, 1 / 24))
_ANY_SHIFT: Final = (-1.0, 2.0)
# A system of 625 and one of 525 lines, for their line rates; those are 0.7 % apart.
_LINES: Final[tuple[System, ...]] = ("PAL-B/G", "NTSC-M")
_SAME_LINE: Final = 0.003
_NEAR_ZERO: Final = 0.05  # of the height: the foot of a flyback pulse is at zero volts


@dataclass(frozen=True)
class FigureKind:
    """A kind of waveform as a shape with parameters, and back."""

    shape: Shape
    bounds: tuple[tuple[float, float], ...]
    """Lowest and highest value of each parameter."""
    grid: Callable[[Floats, Floats], tuple[tuple[float, ...], ...]]
    """From phases and volts to the parameters to begin with."""
    make: Callable[[ShapeFit, float], Waveform | None]
    """From the fit and the period in seconds to the waveform, where it is a possible one."""
    mean: Callable[[Floats], float]
    """Mean of the shape over a period."""
    curved: bool = False
    """True when straight lines between few points cannot mean it."""


def _make_sine_shape(phase: Floats, p: Floats) -> Floats:
    return np.asarray(np.sin(2 * np.pi * (phase - p[0])) / 2)


def _draw_sine(fit: ShapeFit, period_s: float) -> Waveform | None:
    return _validate(
        Sine, kind="sine", frequency=_round_hertz(period_s), vpp=_round_vpp(fit.height_v)
    )


def _make_parabola_shape(phase: Floats, p: Floats) -> Floats:
    across = 2 * np.mod(phase - p[0], 1.0) - 1
    return np.asarray(across**2)


def _draw_parabola(fit: ShapeFit, period_s: float) -> Waveform | None:
    way = "upward" if fit.height_v > 0 else "downward"
    vpp = _round_vpp(fit.height_v)
    hertz = _round_hertz(period_s)
    return _validate(Parabola, kind="parabola", frequency=hertz, vpp=vpp, direction=way)


def _make_sawtooth_shape(phase: Floats, p: Floats) -> Floats:
    along, retrace = np.mod(phase - p[0], 1.0), max(p[1], 1e-9)
    return np.asarray(np.minimum(along / (1 - retrace), (1 - along) / retrace) - 0.5)


def _draw_sawtooth(fit: ShapeFit, period_s: float) -> Waveform | None:
    way = "rising" if fit.height_v > 0 else "falling"
    share = float(fit.parameters[1])
    retrace = {} if share < _SHARP else {"retrace": _round_percent(share)}
    fields = {"frequency": _round_hertz(period_s), "vpp": _round_vpp(fit.height_v)}
    return _validate(Sawtooth, kind="sawtooth", **fields, direction=way, **retrace)


def _make_pulse_shape(phase: Floats, p: Floats) -> Floats:
    """Return a pulse: half-way up at the shift, half-way down a width later."""
    from_middle = np.mod(phase - p[0] - p[1] / 2 + 0.5, 1.0) - 0.5
    up = 0.5 + (from_middle + p[1] / 2) / np.maximum(p[2], 1e-9)
    down = 0.5 - (from_middle - p[1] / 2) / np.maximum(p[3], 1e-9)
    return np.asarray(np.clip(np.minimum(up, down), 0.0, 1.0))


def _draw_pulse(fit: ShapeFit, period_s: float) -> Waveform | None:
    """Return the fitted pulse as a waveform; None if no pulse has these figures."""
    _, width, rise, fall = map(float, fit.parameters)
    low_v, high_v = fit.level_v, fit.level_v + fit.height_v
    # A pulse downwards is one upwards of the rest of the period, its edges exchanged.
    if fit.height_v < 0:
        low_v, high_v, width, rise, fall = high_v, low_v, 1 - width, fall, rise
    # Edges too short to be seen in a figure are left out; a data sheet states from 10 % to 90 %.
    edges = {
        name: _round_seconds(edge / WHOLE_EDGE * period_s)
        for name, edge in (("rise", rise), ("fall", fall))
        if edge >= _SHARP
    }
    levels = {
        "frequency": _round_hertz(period_s),
        "low": _round_volts(low_v),
        "high": _round_volts(high_v),
    }
    width_s = _round_seconds(width * period_s)
    return _validate(Pulse, kind="pulse", **levels, width=width_s, **edges)


def _list_pulse_grid(phase: Floats, v: Floats) -> tuple[tuple[float, ...], ...]:
    """Return starting values: where the curve crosses half its height, and its width there."""
    order = np.argsort(phase, kind="stable")
    high = (v > (v.min() + v.max()) / 2)[order]
    rises = phase[order][high & ~np.roll(high, 1)]
    shifts = tuple(map(float, rises[:4])) or (0.0,)
    width = float(np.clip(high.mean(), 0.002, 0.998))
    return shifts, (width, width / 2), (0.01, 0.1), (0.01, 0.1)


def _make_flyback_shape(phase: Floats, p: Floats) -> Floats:
    along = np.mod(phase - p[0], 1.0) / p[1]
    return np.asarray(np.sin(np.pi * np.minimum(along, 1.0)))


def _draw_flyback(fit: ShapeFit, period_s: float) -> Waveform | None:
    """Return half a sine wave from zero volts if the period is a line of 625 or 525, else None."""
    system = next((s for s in _LINES if abs(period_s * SCANNING[s].line_hz - 1) < _SAME_LINE), None)
    if system is None or abs(fit.level_v) > _NEAR_ZERO * abs(fit.height_v):
        return None
    width = _round_seconds(float(fit.parameters[1]) * period_s)
    fields = {"kind": "flyback pulse", "system": system, "width": width}
    return _validate(FlybackPulse, **fields, peak=_round_volts(fit.height_v))


KINDS: Final = (
    FigureKind(
        _make_sine_shape,
        (_ANY_SHIFT,),
        lambda *_: (_SHIFTS,),
        _draw_sine,
        lambda _: 0.0,
        curved=True,
    ),
    FigureKind(
        _make_parabola_shape,
        (_ANY_SHIFT,),
        lambda *_: (_SHIFTS,),
        _draw_parabola,
        lambda _: 1 / 3,
        curved=True,
    ),
    FigureKind(
        _make_sawtooth_shape,
        (_ANY_SHIFT, (0.0, 0.49)),
        lambda *_: (_SHIFTS, (0.01, 0.1, 0.3)),
        _draw_sawtooth,
        lambda _: 0.0,
    ),
    FigureKind(
        _make_pulse_shape,
        (_ANY_SHIFT, (0.001, 0.999), (0.0, 0.5), (0.0, 0.5)),
        _list_pulse_grid,
        _draw_pulse,
        lambda p: float(p[1]),
    ),
    FigureKind(
        _make_flyback_shape,
        (_ANY_SHIFT, (0.05, 0.6)),
        lambda *_: (_SHIFTS, (0.1, 0.2, 0.4)),
        _draw_flyback,
        lambda p: float(p[1]) * 2 / np.pi,
        curved=True,
    ),
)
"""Every kind that is tried."""


def _validate(model: type[Waveform], **fields: Any) -> Waveform | None:
    """Return the waveform, or None if the closest of its kind is not a possible one."""
    try:
        return model.model_validate(fields)
    except ValueError:
        return None


def _round_volts(value: float) -> Quantity:
    return round_quantity(value, "V", 3)


def _round_seconds(value: float) -> Quantity:
    return round_quantity(value, "s", 3)


def _round_hertz(period_s: float) -> Quantity:
    return round_quantity(1 / period_s, "Hz", 6)


def _round_vpp(height_v: float) -> Quantity:
    return round_quantity(abs(height_v), "Vpp", 3)


def _round_percent(share: float) -> Quantity:
    return round_quantity(100 * share, "%", 2)


def round_quantity(value: float, unit: str, figures: int) -> Quantity:
    """Return the quantity rounded to so many figures, as people write it."""
    return parse_quantity(print_value(value, unit, figures), unit)
