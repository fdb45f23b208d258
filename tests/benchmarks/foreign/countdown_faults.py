"""Possible faults of a board of the WBT2028."""

from __future__ import annotations

from typing import Final

from boards.faults import (
    Fault,
    dead_stage,
    ground_joint,
    missing_signal,
    open_joint,
    outside_volts,
    part_fault,
)
from boards.report import Boards

from foreign.countdown_electrics import CHIP
from foreign.countdown_stages import simulate

FAULTS: Final[list[Fault]] = [
    # sync
    part_fault("R601", "open"),
    part_fault("C601", "shorted"),
    part_fault("C602", "open"),
    part_fault("C602", "leaky", 4.7e3),
    part_fault("C602", "value", 4.7e-9),
    part_fault("C603", "leaky", 100e3),
    part_fault("C603", "shorted"),
    part_fault("C604", "leaky", 100e3),
    part_fault("C604", "shorted"),
    part_fault("R602", "open"),
    # start and supplies
    part_fault("R603", "open"),
    part_fault("R603", "value", 39e3),
    part_fault("C605", "shorted"),
    part_fault("C605", "leaky", 820.0),
    part_fault("R616", "open"),
    part_fault("R616", "value", 150.0),
    part_fault("C615", "value", 4.7e-6),
    part_fault("C615", "leaky", 27.0),
    part_fault("C616", "shorted"),
    part_fault("C616", "leaky", 150.0),
    outside_volts("rail-150v", 0.0),
    outside_volts("rail-150v", 70.0),
    outside_volts("rail-12v", 0.0),
    outside_volts("rail-12v", 7.5),
    outside_volts("eht-sense", 36.0),
    # oscillator and loops
    part_fault("X601", "open"),
    part_fault("X601", "off", -0.05),
    part_fault("X601", "off", 0.06),
    part_fault("R604", "open"),
    part_fault("R605", "open"),
    part_fault("C606", "leaky", 150e3),
    part_fault("C606", "shorted"),
    part_fault("C606", "value", 0.1e-6),
    part_fault("C607", "leaky", 220e3),
    part_fault("C607", "shorted"),
    part_fault("C608", "leaky", 330e3),
    part_fault("C608", "shorted"),
    part_fault("P601", "bottom open"),
    part_fault("P601", "open"),
    part_fault("C609", "shorted"),
    part_fault("R606", "open"),
    # drive and protection
    part_fault("R608", "open"),
    part_fault("R609", "open"),
    part_fault("R609", "value", 33e3),
    part_fault("R610", "open"),
    part_fault("R617", "open"),
    part_fault("C610", "shorted"),
    part_fault("C611", "shorted"),
    part_fault("D603", "shorted"),
    part_fault("D604", "shorted"),
    part_fault("Q601", "open"),
    part_fault("Q601", "base-emitter shorted"),
    part_fault("Q601", "collector-emitter shorted"),
    part_fault("T601", "open"),
    part_fault("R612", "open"),
    part_fault("R612", "value", 4.7e3),
    part_fault("R611", "value", 56e3),
    # field
    part_fault("C613", "leaky", 470e3),
    part_fault("C613", "leaky", 150e3),
    part_fault("C613", "shorted"),
    part_fault("C613", "value", 150e-9),
    part_fault("C613", "value", 68e-9),
    part_fault("R613", "open"),
    part_fault("R613", "value", 120e3),
    part_fault("P602", "open"),
    part_fault("R614", "open"),
    part_fault("R615", "open"),
    part_fault("C614", "shorted"),
    # joints
    *(
        open_joint(pin)
        for pin in (
            "pin 1",
            "pin 5",
            "pin 7",
            "pin 8",
            "pin 11",
            "pin 13",
            "pin 15",
            "pin 16",
            "pin 17",
            "pin 18",
            "pin 19",
        )
    ),
    ground_joint("pin 6", 22.0),
    # signals from outside, stages
    missing_signal("video-line"),
    missing_signal("flyback-winding"),
    Fault(
        "yoke-sense missing",
        "outside",
        silent=frozenset({"yoke-sense"}),
        outside_v={"yoke-sense": 0.0},
    ),
    *(
        dead_stage(stage)
        for stage in (
            "reference",
            "sync-separator",
            "line-phase-detector",
            "line-oscillator",
            "second-phase-detector",
            "line-drive",
            "coincidence-detector",
            "countdown",
            "ramp-generator",
            "vertical-drive",
        )
    ),
]
COUNTDOWN_BOARDS: Final = Boards(CHIP, FAULTS, simulate)
