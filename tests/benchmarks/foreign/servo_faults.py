"""Possible faults of a board of the HMQ2530; each checked against the effects in a recorder.

Left out are faults that nothing on the board shows while a tape plays, and those whose effect
depends on strays and leakage: an open bias resistor of the oscillator, a leaky coupling capacitor.
"""

from __future__ import annotations

from typing import Final

from boards.faults import Fault, dead_stage, missing_signal, open_joint, outside_volts, part_fault
from boards.report import Boards

from .servo_electrics import CHIP
from .servo_stages import simulate

_SUPPLY_AND_CLOCK: Final = (
    part_fault("R301", "open"),
    part_fault("R301", "value", 390.0),
    part_fault("C301", "shorted", 0.0, ("part", "C302")),
    part_fault("C303", "shorted"),
    part_fault("C303", "leaky", 680.0),
    outside_volts("rail-9v", 0.0),
    outside_volts("rail-9v", 5.2),
    open_joint("pin 3"),
    part_fault("X301", "open"),
    part_fault("C304", "open"),
    part_fault("C304", "shorted"),
    part_fault("C305", "shorted"),
    open_joint("pin 1"),
    open_joint("pin 2"),
)
_DRUM_PICK_UPS: Final = (
    missing_signal("pg-in"),
    missing_signal("fg-in"),
    part_fault("R304", "open"),
    part_fault("C307", "shorted"),
    part_fault("C306", "open"),
    part_fault("R305", "open"),
    part_fault("C308", "open"),
    part_fault("C309", "shorted"),
    part_fault("R306", "open", 0.0, ("part", "VR301")),
    part_fault("VR302", "open", 0.0, ("part", "R307")),
    part_fault("C310", "shorted"),
    part_fault("C311", "shorted"),
    part_fault("C310", "leaky", 10e3),
    part_fault("R308", "open"),
    open_joint("pin 5"),
    open_joint("pin 6"),
    open_joint("pin 9"),
)
_DRUM_LOOP: Final = (
    part_fault("R309", "open"),
    part_fault("R310", "open"),
    part_fault("C312", "shorted"),
    part_fault("C312", "leaky", 10e3),
    part_fault("R311", "open", 0.0, ("part", "C313")),
    part_fault("C313", "open", 0.0, ("part", "R311")),
    part_fault("C313", "shorted"),
    part_fault("C313", "leaky", 4.7e3),
    part_fault("R312", "open"),
    part_fault("R313", "open"),
    part_fault("R313", "value", 15e3),
    part_fault("C314", "shorted"),
    part_fault("R324", "open"),
    part_fault("C322", "shorted"),
    outside_volts("drum-line", 0.0),
    open_joint("pin 10"),
    open_joint("pin 11"),
    open_joint("pin 12"),
    open_joint("pin 13"),
    open_joint("pin 24"),
)
_CAPSTAN: Final = (
    missing_signal("ctl-in"),
    missing_signal("cfg-in"),
    part_fault("C315", "open"),
    part_fault("R315", "open"),
    part_fault("C316", "open"),
    part_fault("C317", "shorted"),
    part_fault("R316", "open", 0.0, ("part", "VR303")),
    part_fault("VR303", "open", 0.0, ("part", "R316")),
    part_fault("C318", "shorted"),
    part_fault("C318", "open"),
    part_fault("R317", "open"),
    part_fault("R318", "open"),
    part_fault("C319", "shorted"),
    part_fault("C320", "open", 0.0, ("part", "R319")),
    part_fault("C320", "shorted"),
    part_fault("R320", "open"),
    part_fault("R321", "open"),
    part_fault("C321", "shorted"),
    part_fault("R323", "open"),
    part_fault("R325", "open"),
    part_fault("C323", "shorted"),
    outside_volts("capstan-line", 0.0),
    outside_volts("play-line", 0.0),
    open_joint("pin 15"),
    open_joint("pin 18"),
    open_joint("pin 19"),
    open_joint("pin 20"),
    open_joint("pin 22"),
    open_joint("pin 23"),
    open_joint("pin 25"),
)
_STAGES: Final = tuple(
    dead_stage(stage)
    for stage in (
        "clock-oscillator",
        "reference-divider",
        "half-supply",
        "pg-amplifier",
        "drum-fg-amplifier",
        "head-switch-flip-flop",
        "drum-speed-counter",
        "drum-phase-detector",
        "drum-error-amplifier",
        "ctl-amplifier",
        "tracking-monostable",
        "capstan-fg-amplifier",
        "capstan-phase-detector",
        "capstan-error-amplifier",
        "lock-detector",
    )
)
FAULTS: Final[tuple[Fault, ...]] = (
    *_SUPPLY_AND_CLOCK,
    *_DRUM_PICK_UPS,
    *_DRUM_LOOP,
    *_CAPSTAN,
    *_STAGES,
)
SERVO_BOARDS: Final = Boards(CHIP, FAULTS, simulate)
