"""Possible faults of a board of the JLM2831; each checked against the effects in a real set.

Left out are faults that change nothing to be measured in a set playing colour bars, and those
whose effect depends on leakage and strays: open store capacitors, shorted coupling capacitors.
"""

from __future__ import annotations

from typing import Final

from boards.faults import Fault, dead_stage, missing_signal, open_joint, outside_volts, part_fault
from boards.report import Boards

from .rgb_electrics import CHIP
from .rgb_stages import simulate

_SUPPLY: Final = (
    part_fault("R201", "open"),
    part_fault("R201", "value", 68.0),
    part_fault("C201", "shorted", 0.0, ("part", "C202")),
    part_fault("C209", "shorted"),
    outside_volts("rail-12v", 0.0),
    outside_volts("rail-12v", 7.5),
    outside_volts("rail-180v", 0.0),
    outside_volts("rail-180v", 115.0),
    open_joint("pin 5"),
    open_joint("pin 27"),
)
_INPUTS: Final = (
    part_fault("C203", "open"),
    part_fault("C204", "open"),
    part_fault("C205", "open"),
    part_fault("R202", "open"),
    missing_signal("ry-in"),
    missing_signal("by-in"),
    missing_signal("y-in"),
    missing_signal("sandcastle-in"),
    outside_volts("scart-blank", 3.0),
    open_joint("pin 1"),
    open_joint("pin 2"),
    open_joint("pin 3"),
    open_joint("pin 4"),
    part_fault("C216", "shorted"),
    part_fault("C216", "leaky", 100e3),
)
_CONTROLS: Final = (
    part_fault("VR201", "open"),
    part_fault("VR201", "bottom open"),
    part_fault("R203", "open"),
    part_fault("C206", "shorted"),
    part_fault("C206", "leaky", 4.7e3),
    part_fault("VR202", "open"),
    part_fault("VR202", "slider open"),
    part_fault("R204", "open"),
    part_fault("C207", "shorted"),
    part_fault("C207", "leaky", 4.7e3),
    part_fault("VR203", "open"),
    part_fault("VR203", "bottom open"),
    part_fault("R205", "open"),
    part_fault("C208", "shorted"),
    part_fault("C208", "leaky", 10e3),
    open_joint("pin 8"),
    open_joint("pin 9"),
    part_fault("VR204", "open"),
    part_fault("VR204", "bottom open"),
    part_fault("VR205", "open"),
    part_fault("VR205", "bottom open"),
    part_fault("R206", "value", 10e3),
    part_fault("C210", "shorted"),
    part_fault("C211", "shorted"),
    part_fault("C211", "leaky", 10e3),
)
_CUT_OFF: Final = (
    part_fault("C217", "shorted"),
    part_fault("C217", "leaky", 47e3),
    part_fault("C213", "leaky", 1e6),
    part_fault("C214", "shorted"),
    part_fault("C215", "leaky", 100e3),
    part_fault("R208", "open"),
    part_fault("R209", "open"),
    part_fault("ZD201", "shorted"),
    part_fault("ZD201", "open"),
    open_joint("pin 22"),
)
_OUTPUT_STAGES: Final = (
    part_fault("R221", "open", 0.0, ("part", "R222")),
    part_fault("Q221", "open"),
    part_fault("Q221", "collector-emitter shorted"),
    part_fault("R222", "open"),
    part_fault("R222", "value", 1.2e3),
    part_fault("R223", "open"),
    part_fault("Q222", "open"),
    part_fault("Q222", "base-emitter shorted", 0.0, ("part", "D221")),
    part_fault("D221", "shorted", 0.0, ("part", "Q222")),
    part_fault("R224", "open"),
    part_fault("Q231", "base-emitter open"),
    part_fault("Q231", "base-emitter shorted"),
    part_fault("R232", "open"),
    part_fault("R233", "open"),
    part_fault("R234", "open"),
    part_fault("Q232", "collector-emitter shorted"),
    part_fault("R241", "open"),
    part_fault("Q241", "collector-emitter shorted"),
    part_fault("R242", "value", 1.5e3),
    part_fault("Q242", "open"),
    part_fault("D241", "shorted", 0.0, ("part", "Q242")),
    open_joint("pin 16"),
    open_joint("pin 18"),
    open_joint("pin 20"),
)
_STAGES: Final = tuple(
    dead_stage(stage)
    for stage in (
        "reference",
        "sandcastle-detector",
        "colour-clamp",
        "luminance-clamp",
        "matrix",
        "contrast-control",
        "blanking",
        "dark-current-comparator",
        "red-output",
        "green-output",
        "blue-output",
    )
)
FAULTS: Final[tuple[Fault, ...]] = (
    *_SUPPLY,
    *_INPUTS,
    *_CONTROLS,
    *_CUT_OFF,
    *_OUTPUT_STAGES,
    *_STAGES,
)
RGB_BOARDS: Final = Boards(CHIP, FAULTS, simulate)
