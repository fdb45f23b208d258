"""The WBT2028's board as ngspice solves it: pins as sources of their own, rails, the line driver.

The board makes the volts; the sheet's are these rounded. All figures are common practice.
"""

from __future__ import annotations

from typing import Final

from boards.circuit import Drive, Electrics, Inside, Outside, node_name
from boards.drawn_chip import DrawnPart
from boards.faults import Failure
from practice.stated import read_stated_chip

PART: Final = "WBT2028"
CHIP: Final = read_stated_chip(PART)
START_V, MAIN_V, GROUND = "pin 5", "pin 19", "pin 6"
LINE_HZ, FIELD_HZ, RESONATOR_HZ = 15625.0, 50.0, 500e3
SWITCHED_ON_OHM, SWITCHED_OFF_OHM = 4.0, 5e6  # of the drive output


def _main(ohms: float, **limits: float) -> Inside:
    return Inside(ohms, MAIN_V, ground=GROUND, **limits)


_INSIDES: Final = {
    "pin 1": _main(90e3),
    "pin 2": _main(60e3),
    "pin 3": _main(160e3),
    "pin 4": Inside(5e6, MAIN_V, ground=GROUND, open_collector=True),  # off
    "pin 7": Inside(4e3, START_V, ground=GROUND),
    "pin 8": _main(150e3, source_a=80e-6, sink_a=80e-6),
    "pin 9": _main(200e3),
    "pin 10": _main(100e3),
    "pin 11": _main(15e3),
    "pin 12": _main(120, source_a=10e-3, sink_a=1e-3),
    "pin 13": Inside(50, START_V, ground=GROUND, open_collector=True),
    "pin 14": Inside(400e3, START_V, ground=GROUND),
    "pin 15": _main(2e3),
    "pin 16": Inside(25, follows=MAIN_V, ground=GROUND),
    "pin 17": _main(180, source_a=8e-3, sink_a=0.8e-3),
    "pin 18": _main(120e3),
    "pin 20": _main(8, source_a=14e-3, sink_a=1e-3),
}
_OWN_V: Final = {
    "pin 1": 2.55,
    "pin 2": 2.3,
    "pin 3": 6.6,
    "pin 4": 0.0,
    "pin 7": 3.1,
    "pin 8": 4.25,
    "pin 9": 3.7,
    "pin 10": 2.6,
    "pin 11": 1.7,
    "pin 12": 1.55,
    "pin 13": 2.4,
    "pin 14": 0.4,
    "pin 15": 2.9,
    "pin 16": 3.95,
    "pin 17": 3.9,
    "pin 18": 2.0,
    "pin 20": 4.95,
}
_OUTSIDES: Final = {
    "rail-12v": Outside(12.45, 1.0),
    "rail-150v": Outside(152.0, 15.0),
    "video-line": Outside(3.1, 75),
    "flyback-winding": Outside(0, 10),
    "eht-sense": Outside(22.3, 3e3),
    "yoke-sense": Outside(2.05, 10),
    "vertical-output-stage": Outside(3.6, 4.7e3),
}


def _resonator(part: DrawnPart, failure: Failure | None) -> list[str]:
    """A ceramic resonator passes no DC; shorted it does."""
    first, second = (node_name(end) for end in part.joins)
    if failure and failure.mode == "shorted":
        return [f"R{part.ref} {first} {second} 1"]
    return [f"C{part.ref} {first} {second} 300p"]


def _driver_transformer(part: DrawnPart, failure: Failure | None) -> list[str]:
    supply, collector, base, foot = (node_name(end) for end in part.joins)
    primary_ohm = 1e9 if failure else 25
    return [
        f"R{part.ref}P {supply} {collector} {primary_ohm:g}",
        f"R{part.ref}S {base} {foot} 0.3",
    ]


def _line_driver(part: DrawnPart, failure: Failure | None) -> list[str]:
    """A transistor for some hundred volts: its base needs less than a small one's."""
    base, collector, emitter = (node_name(end) for end in part.joins)
    mode = failure.mode if failure else "good"
    if mode == "open":
        return []
    if mode == "base-emitter shorted":
        return [f"R{part.ref} {base} {emitter} 0.3"]
    if mode == "collector-emitter shorted":
        return [f"R{part.ref} {collector} {emitter} 0.5", f"D{part.ref} {base} {emitter} junction"]
    return [
        f"Q{part.ref} {collector} {base} {emitter} driver",
        ".model driver npn(is=4e-14 bf=70 vaf=200 rb=4)",
    ]


def _line_output_transistor(part: DrawnPart, _: Failure | None) -> list[str]:
    """Its base junction is all that the drive sees of it."""
    return [f"D{part.ref} {node_name(part.joins[0])} {node_name(part.joins[2])} junction"]


ELECTRICS: Final = Electrics(
    chip=CHIP,
    insides=_INSIDES,
    outsides=_OUTSIDES,
    supply_grounds={START_V: GROUND, MAIN_V: GROUND},
    off_ohms={"rail-150v": 60e3, "eht-sense": 30e3, "video-line": 5e3},
    special_parts={
        "X601": _resonator,
        "T601": _driver_transformer,
        "Q601": _line_driver,
        "Q602": _line_output_transistor,
    },
)
DRIVE: Final = Drive(_OWN_V, {START_V: 0.0098, MAIN_V: 0.030})
RUNS: Final = {
    "video": (LINE_HZ, {"video-line": 1.0}),
    "field video": (FIELD_HZ, {"video-line": 1.0}),
    "yoke": (FIELD_HZ, {"yoke-sense": 1.0}),
    "to the output": (FIELD_HZ, {"pin 17": 1.0}),
}
TRUE_V: Final = {  # of a good set, where the sheet's figure is rounded
    "pin 1": 1.92,
    "pin 7": 0.66,
    "pin 11": 6.7,
    "pin 13": 5.8,
    "line-driver-collector": 163.0,
    "pin 15": 2.85,
    "pin 17": 1.4,
    "pin 18": 0.93,
    "yoke-sense": 0.95,
}
