"""The signals of the generated catalogue, in the amplitudes that data sheets round to."""

from __future__ import annotations

import random
from typing import Any, Final

Fields = dict[str, Any]

_VPP_V: Final = (0.1, 0.15, 0.2, 0.3, 0.4, 0.5, 0.7, 0.8, 1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0)
_SINES: Final = ("4.43361875 MHz", "3.579545 MHz", "1 kHz", "38.9 MHz", "5.5 MHz", "503.5 kHz")
_HIGHS: Final = ("5 V", "4.5 V", "4 V", "3.3 V")


def write_vpp(volts: float) -> str:
    """As on a data sheet: 450 mVpp, 1.2 Vpp."""
    return f"{volts * 1e3:.0f} mVpp" if volts < 1 else f"{volts:g} Vpp"


def draw_floating_waveform(chance: random.Random, room_v: float, system: str) -> Fields | None:
    """A signal that sits on the pin's DC and goes at most ``room_v`` either way; None if no
    usual amplitude is so small."""
    fitting = [vpp_v for vpp_v in _VPP_V if vpp_v <= room_v]
    if not fitting:
        return None
    vpp_v = chance.choice(fitting)
    vpp = write_vpp(vpp_v)
    number = chance.randrange(8)
    if number == 0:
        return {"kind": "composite video", "system": system, "bars": "75 %", "vpp": vpp}
    if number == 1:
        return {"kind": "luminance", "system": system, "bars": "75 %", "vpp": vpp}
    if number == 2:
        axis = chance.choice(("R-Y", "G-Y", "B-Y"))
        return {
            "kind": "colour difference", "system": system, "bars": "75 %", "vpp": vpp,
            "axis": axis,
        }  # fmt: skip
    if number == 3 and vpp_v * 2.5 <= room_v:
        return {"kind": "chrominance", "system": system, "bars": "75 %", "burst": vpp}
    if number == 4:
        return {"kind": "parabola", "frequency": "50 Hz", "vpp": vpp}
    if number == 5:
        return {"kind": "sawtooth", "frequency": "50 Hz", "vpp": vpp, "retrace": "6 %"}
    return {"kind": "sine", "frequency": chance.choice(_SINES), "vpp": vpp}


def draw_standing_waveform(chance: random.Random, system: str) -> tuple[Fields, str]:
    """A signal whose levels are given against ground, up to 5 V, and the DC that is its mean."""
    high = chance.choice(_HIGHS)
    high_v = float(high.removesuffix(" V"))
    number = chance.randrange(4)
    if number == 0:
        levels = {"low": "0.2 V", "high": high}
        signal = {"kind": "line pulse", "system": system, **levels, "width": "12 µs"}
        return signal, f"{0.2 + (high_v - 0.2) * 12 / 64:.1f} V"
    if number == 1:
        signal = {"kind": "field pulse", "system": system, "low": "0 V", "high": high}
        return signal | {"width": "1.2 ms", "polarity": "negative"}, f"{high_v * 0.94:.1f} V"
    if number == 2:
        line, share = chance.choice((("clock", 0.65), ("data", 0.54)))
        signal = {"kind": "bus activity", "low": "0.2 V", "high": high, "clock": "100 kHz"}
        return signal | {"line": line}, f"{0.2 + (high_v - 0.2) * share:.1f} V"
    duty = chance.choice((10, 25, 50))
    signal = {"kind": "pulse", "frequency": "15.625 kHz", "low": "0 V", "high": high}
    return signal | {"duty": f"{duty} %"}, f"{high_v * duty / 100:.1f} V"
