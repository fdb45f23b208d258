"""Defects of signals and of the way they were captured, with the words that name each.

``needs`` says how much of the signal a record must hold before anybody could see the defect.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

from .composite import Composite
from .instrument import Recording
from .places import Place, Rates, Signal
from .pulses import FieldDrive, Flyback, Sandcastle, Silence, Sine
from .standards import NTSC, PAL

ALL: Final = ("composite", "chroma", "sandcastle", "flyback", "field drive", "sine")
COLOUR: Final = ("composite", "chroma")
LINE: Final = ("composite", "sandcastle")
SLOW_RATES: Final[Rates] = {1_000: (50e3,), 10_000: (500e3,), 100_000: (2.5e6,)}


@dataclass(frozen=True)
class Defect:
    """One way to be wrong."""

    title: str
    sorts: tuple[str, ...]
    words: tuple[str, ...]
    """One of them is in the name that a judge gives to it."""
    spoil: Callable[[Any], Signal | Silence] = lambda signal: signal
    way: Mapping[str, Any] = field(default_factory=dict)
    """Changes to the recording."""
    needs: str = "line"
    rates: Rates | None = None

    def shows(self, place: Place, how: Recording) -> bool:
        """Return whether the record can show the defect: see ``needs``."""
        period_s = {"sine": 1 / 500e3, "field drive": 20e-3}.get(place.sort, 1 / place.line_hz)
        periods = how.duration_s / period_s
        samples_a_cycle = how.rate_hz / 4.43e6
        fine = how.rate_hz >= 1e6
        return {
            "anything": True,
            "line": periods >= 1.2,
            "colour": periods >= 1.2 and samples_a_cycle >= 2.2,
            "two lines of colour": periods >= 2.4 and samples_a_cycle >= 2.2,
            "many lines": periods >= 8,
            "hum": how.duration_s >= 18e-3 and (fine or place.sort not in (*COLOUR, *LINE)),
            "field": how.duration_s >= 22e-3 and fine,
        }[self.needs]


def _change(**changes: Any) -> Callable[[Any], Signal]:
    return lambda signal: replace(signal, **changes)


def _scale(**shares: float) -> Callable[[Any], Signal]:
    return lambda signal: replace(
        signal, **{name: getattr(signal, name) * share for name, share in shares.items()}
    )


def _use_other_system(signal: Composite) -> Composite:
    other = NTSC if signal.system is PAL else PAL
    share = signal.burst * signal.system.burst_vpp / other.burst_vpp
    return replace(signal, system=other, burst=share, chroma=share)


def _use_other_subcarrier(signal: Composite) -> Composite:
    other_hz = 3582056.25 if signal.system is PAL else PAL.subcarrier_hz
    return replace(signal, subcarrier_hz=other_hz)


def _drop_key(signal: Sandcastle) -> Sandcastle:
    return replace(signal, key_v=signal.line_v)


def _drop_line_level(signal: Sandcastle) -> Sandcastle:
    return replace(signal, line_v=signal.base_v)


def _drop_field_level(signal: Sandcastle) -> Sandcastle:
    return replace(signal, field_v=signal.base_v)


def _move_line(signal: Composite | Sandcastle) -> Signal:
    return replace(signal, line_hz=signal.system.line_hz * 1.04)


_PHASE = ("phase", "hue", "tint")
_NO_SIGNAL = ("no signal", "missing", "flat", "none", "no sync")
_LINE_RATE = ("line frequency", "line rate", "frequency")
_LOW = ("low", "small", "amplitude", "weak")

DEFECTS: Final = (
    Defect(
        "burst missing", COLOUR, ("burst missing", "no burst"), _change(burst=0.0), needs="colour"
    ),
    Defect("burst weak, 30 %", COLOUR, ("burst",), _scale(burst=0.3), needs="colour"),
    Defect(
        "chroma missing",
        COLOUR,
        ("chroma missing", "no chroma", "no colour"),
        _change(chroma=0.0),
        needs="colour",
    ),
    Defect("chroma low, 40 %", COLOUR, ("chroma",), _scale(chroma=0.4), needs="colour"),
    Defect(
        "PAL switch stopped",
        COLOUR,
        ("switch",),
        _change(pal_switch_runs=False),
        needs="two lines of colour",
    ),
    Defect(
        "other system",
        COLOUR,
        ("system", "subcarrier", "sub-carrier"),
        _use_other_system,
        needs="colour",
    ),
    Defect(
        "other subcarrier",
        COLOUR,
        ("system", "subcarrier", "sub-carrier"),
        _use_other_subcarrier,
        needs="colour",
    ),
    Defect("hue turned 40°", COLOUR, _PHASE, _change(chroma_turn_deg=40.0), needs="colour"),
    Defect(
        "chroma 400 ns late",
        ("composite",),
        ("delay",),
        _change(chroma_delay_s=400e-9),
        needs="colour",
    ),
    Defect(
        "differential gain 40 %",
        ("composite",),
        ("differential gain",),
        _change(chroma_loss_at_white=0.4),
        needs="colour",
    ),
    Defect("sync compressed, 40 %", ("composite",), ("sync",), _scale(sync=0.4)),
    Defect("sync missing", ("composite",), ("sync",), _change(sync=0.0)),
    Defect("white limited, 60 %", ("composite",), ("white", "lumin"), _change(white_limit=0.6)),
    Defect("half the amplitude", COLOUR, _LOW, _scale(gain=0.5), needs="colour"),
    Defect("burst key missing", ("sandcastle",), ("key",), _drop_key),
    Defect("burst key 3 µs late", ("sandcastle",), ("key",), _change(key_start_s=8.2e-6)),
    Defect("burst key twice as wide", ("sandcastle",), ("key",), _change(key_s=8e-6)),
    Defect("line blanking missing", ("sandcastle",), ("line blanking", "level"), _drop_line_level),
    Defect(
        "field blanking missing",
        ("sandcastle",),
        ("field blanking", "level"),
        _drop_field_level,
        needs="field",
        rates=SLOW_RATES,
    ),
    Defect("levels at 60 %", ("sandcastle",), (*_LOW, "level"), _scale(line_v=0.6, key_v=0.6)),
    Defect("peak at half", ("flyback",), (*_LOW, "peak"), _scale(peak_v=0.5)),
    Defect("17 µs wide", ("flyback",), ("wide", "width"), _change(width_s=17e-6)),
    Defect("ringing", ("flyback",), ("ring",), _change(ringing_v=2.0)),
    Defect("peak clamped", ("flyback",), ("clip", "clamp", "flat", "peak"), _change(limit_v=4.5)),
    Defect("half the height", ("field drive",), _LOW, _scale(vpp=0.5)),
    Defect("bent by 12 %", ("field drive",), ("linear",), _change(bend=0.12)),
    Defect("slow retrace, 20 %", ("field drive",), ("retrace",), _change(retrace=0.2)),
    Defect("40 Hz", ("field drive",), ("frequency",), _change(field_hz=40.0)),
    Defect("half the amplitude", ("sine",), _LOW, _scale(vpp=0.5)),
    Defect("1 % off frequency", ("sine",), ("frequency",), _scale(hertz=1.01)),
    Defect("jumping", ("sine",), ("jump", "unstable", "amplitude"), _change(jumps=0.6)),
    Defect(
        "distorted",
        ("sine",),
        ("distort", "harmonic"),
        _change(second_harmonic=0.4, third_harmonic=0.2),
    ),
    Defect("lines 4 % fast", LINE, _LINE_RATE, _move_line),
    Defect("line jitter 0.5 µs", LINE, ("jitter",), _change(jitter_s=0.5e-6), needs="many lines"),
    Defect("hum 50 Hz", ALL, ("hum",), way={"hum_share": 0.3}, needs="hum", rates=SLOW_RATES),
    Defect(
        "hum 100 Hz",
        ALL,
        ("hum",),
        way={"hum_share": 0.3, "hum_hz": 100.0},
        needs="hum",
        rates=SLOW_RATES,
    ),
    Defect("noise, 14 dB", ALL, ("nois",), way={"noise_share": 0.2}),
    Defect("nothing", ALL, _NO_SIGNAL, lambda _: Silence(), needs="anything"),
    Defect("noise alone", ALL, ("nois", *_NO_SIGNAL), lambda _: Silence(), {"noise_share": 0.2}),
    Defect("probe divides by ten", ALL, ("ten",), way={"factor": 0.1}),
    Defect("AC coupled", ALL, ("ac-coupled", "ac coupled"), way={"is_ac_coupled": True}),
    Defect("inverted", (*LINE, "flyback"), ("invert", "upside"), way={"is_inverted": True}),
    Defect("cut by the screen", ALL, ("clip", "screen"), way={"cut_share": 0.2}),
    Defect(
        "undersampled",
        (*COLOUR, "sine"),
        ("undersampl", "sampl"),
        needs="anything",
        rates={1_000: (5e5,), 10_000: (5e5,), 100_000: (5e5,)},
    ),
)


def list_defects(place: Place) -> tuple[Defect, ...]:
    """Return the defects that a pin can have."""
    return tuple(d for d in DEFECTS if place.sort in d.sorts and _can_have(d, place))


def _can_have(defect: Defect, place: Place) -> bool:
    signal = place.signal
    if defect.title == "PAL switch stopped":
        return isinstance(signal, Composite) and signal.system.has_pal_switch
    if defect.title.startswith("hum"):
        # On a drive of 50 Hz hum is part of its own shape.
        is_at_mains = isinstance(signal, FieldDrive) and signal.field_hz == 50
        return place.sort not in ("sine", "flyback") and not is_at_mains
    if defect.title == "undersampled" and isinstance(signal, Sine):
        return signal.hertz > 1e6
    return isinstance(signal, (Composite, Sandcastle, Flyback, FieldDrive, Sine))
