"""Possible faults of a board of the NBR2424; each checked against the effects in a real set.

Left out are faults whose effect hangs on strays and tuning: detuned demodulators, an unbalanced
input, an AGC without its store; and those that nothing shows.
"""

from __future__ import annotations

from typing import Final

from boards.faults import Fault, dead_stage, missing_signal, open_joint, outside_volts, part_fault
from boards.report import Boards

from .if_electrics import CHIP
from .if_stages import simulate

_SUPPLY: Final = (
    part_fault("R401", "open"),
    part_fault("R401", "value", 220.0),
    part_fault("C401", "shorted", 0.0, ("part", "C402")),
    part_fault("C403", "shorted"),
    outside_volts("rail-12v", 0.0),
    outside_volts("rail-12v", 6.5),
    open_joint("pin 14"),
)
_VISION: Final = (
    missing_signal("if-in"),
    part_fault("C404", "open"),
    open_joint("pin 1"),
    part_fault("C406", "shorted"),
    part_fault("C406", "leaky", 100e3),
    part_fault("C406", "leaky", 47e3),
    part_fault("R403", "open", 0.0, ("part", "VR401")),
    part_fault("VR401", "open", 0.0, ("part", "R403")),
    part_fault("VR401", "slider open"),
    part_fault("R404", "open"),
    part_fault("R404", "value", 100e3),
    part_fault("R406", "open"),
    part_fault("C407", "shorted"),
    part_fault("C407", "leaky", 4.7e3),
    open_joint("pin 4"),
    open_joint("pin 5"),
    part_fault("C409", "open"),
    part_fault("R408", "open"),
    part_fault("R409", "open"),
    part_fault("C410", "shorted"),
    part_fault("C410", "leaky", 10e3),
    part_fault("R410", "open"),
    part_fault("R411", "open"),
    outside_volts("aft-switch", 0.0),
    part_fault("R412", "open"),
    part_fault("Q401", "open"),
    part_fault("Q401", "base-emitter shorted"),
    part_fault("Q401", "collector-emitter shorted"),
    part_fault("R413", "open"),
    part_fault("C411", "open"),
    part_fault("R414", "open"),
    open_joint("pin 13"),
)
_SOUND: Final = (
    part_fault("C412", "open"),
    part_fault("C419", "open"),
    part_fault("C413", "shorted"),
    part_fault("C415", "shorted"),
    part_fault("C415", "leaky", 2.2e3),
    part_fault("C416", "open"),
    part_fault("R418", "open"),
    part_fault("C417", "shorted"),
    part_fault("C417", "leaky", 4.7e3),
    part_fault("C418", "open"),
    outside_volts("mute-line", 5.0),
    outside_volts("volume-line", 0.0),
    open_joint("pin 16"),
    open_joint("pin 20"),
    open_joint("pin 21"),
    open_joint("pin 22"),
    open_joint("pin 23"),
)
_STAGES: Final = tuple(
    dead_stage(stage)
    for stage in (
        "reference",
        "if-amplifier",
        "video-demodulator",
        "video-amplifier",
        "agc-detector",
        "limiter",
        "fm-demodulator",
        "volume-control",
        "audio-output",
    )
)
FAULTS: Final[tuple[Fault, ...]] = (*_SUPPLY, *_VISION, *_SOUND, *_STAGES)
IF_BOARDS: Final = Boards(CHIP, FAULTS, simulate)
