"""Possible faults of a board of the DLT2426."""

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

from foreign.stereo_electrics import CHIP
from foreign.stereo_stages import simulate

FAULTS: Final[list[Fault]] = [
    # left channel
    part_fault("R701", "open"),
    part_fault("R701", "value", 150e3),
    part_fault("C701", "open"),
    part_fault("C701", "leaky", 10e3),
    part_fault("C701", "value", 1e-9),
    part_fault("C702", "shorted"),
    part_fault("C702", "leaky", 4.7e3),
    part_fault("C702", "value", 150e-9),
    part_fault("C703", "open"),
    part_fault("C703", "value", 2.2e-9),
    part_fault("R702", "open"),
    part_fault("R703", "open"),
    part_fault("R704", "open"),
    part_fault("R704", "value", 680.0),
    part_fault("C704", "open"),
    part_fault("C704", "value", 0.47e-6),
    part_fault("C705", "open"),
    part_fault("C705", "value", 6.8e-6),
    part_fault("R705", "open"),
    # right channel
    part_fault("R751", "open"),
    part_fault("C751", "open"),
    part_fault("C751", "value", 820e-12),
    part_fault("C752", "shorted"),
    part_fault("C753", "open"),
    part_fault("C753", "value", 1.5e-9),
    part_fault("R752", "open"),
    part_fault("R752", "value", 100e3),
    part_fault("R753", "shorted"),
    part_fault("R754", "open"),
    part_fault("C754", "open"),
    part_fault("C754", "value", 0.33e-6),
    part_fault("C755", "open"),
    part_fault("C755", "value", 4.7e-6),
    part_fault("C756", "open"),
    # controls
    part_fault("C721", "leaky", 22e3),
    part_fault("C721", "leaky", 5.6e3),
    part_fault("C721", "shorted"),
    part_fault("C722", "leaky", 4.7e3),
    part_fault("C722", "shorted"),
    part_fault("R726", "open"),
    part_fault("R726", "value", 470e3),
    part_fault("C724", "leaky", 10e3),
    part_fault("C724", "shorted"),
    outside_volts("volume-line", 0.3),
    outside_volts("volume-line", 5.0),
    outside_volts("balance-line", 0.2),
    outside_volts("balance-line", 5.0),
    outside_volts("mute-line", 5.0),
    outside_volts("standby-line", 0.0),
    # bias and supplies
    part_fault("C725", "leaky", 2.2e3),
    part_fault("C725", "shorted"),
    part_fault("C726", "leaky", 2.2e3),
    part_fault("C726", "shorted"),
    part_fault("R727", "open"),
    part_fault("C727", "value", 22e-6),
    part_fault("R728", "open"),
    part_fault("R728", "value", 1.5e3),
    part_fault("D701", "shorted"),
    part_fault("C729", "leaky", 82.0),
    part_fault("C729", "shorted"),
    outside_volts("rail-20v", 0.0),
    outside_volts("rail-20v", 9.0),
    # joints
    *(
        open_joint(pin)
        for pin in (
            "pin 1",
            "pin 2",
            "pin 11",
            "pin 12",
            "pin 13",
            "pin 14",
            "pin 15",
            "pin 17",
            "pin 18",
            "pin 20",
            "pin 21",
            "pin 23",
        )
    ),
    ground_joint("pin 10", 150.0),
    ground_joint("pin 16", 4.7),
    # signals from outside, stages
    missing_signal("left-line"),
    missing_signal("right-line"),
    *(
        dead_stage(stage)
        for stage in (
            "reference",
            "left-control",
            "right-control",
            "left-mute",
            "right-mute",
            "left-output",
            "right-output",
        )
    ),
]
STEREO_BOARDS: Final = Boards(CHIP, FAULTS, simulate)
