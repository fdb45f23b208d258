"""The HVQ2460's board as ngspice solves it.

A pin is a source of its own, chosen as the chip's designer would: the board makes its volts, and
the sheet's are these rounded. All figures are common practice for a 12 V timing chip.
"""

from __future__ import annotations

from boards.circuit import Drive, Electrics, Inside, Outside, node_name
from boards.drawn_chip import DrawnPart
from boards.faults import Failure

from practice.stated import read_stated_chip

PART = "HVQ2460"
CHIP = read_stated_chip(PART)
TIMING_V, FIELD_V, GROUND, FIELD_GND = "pin 21", "pin 11", "pin 1", "pin 12"
LINE_HZ, FIELD_HZ, FIELD_SYNC_HZ = 15625.0, 50.0, 800.0
FIELD_A = 0.085  # drawn by the field output for a full scan
SWITCHED_ON_OHM, SWITCHED_OFF_OHM = 4.0, 5e6  # of the drive output
_SWINGING_OHM = 2e3  # stands for the stage that swings a timing pin


def _pin(ohms: float, **limits: float) -> Inside:
    return Inside(ohms, TIMING_V, ground=GROUND, **limits)


_INSIDES = {
    "pin 2": _pin(8e3),
    "pin 3": _pin(60e3),
    "pin 4": _pin(300, source_a=6e-3, sink_a=1e-3),
    "pin 5": _pin(15e3),
    "pin 6": _pin(_SWINGING_OHM),
    "pin 7": _pin(_SWINGING_OHM),
    "pin 8": Inside(2e6, TIMING_V, ground=GROUND),
    "pin 9": _pin(15e3),
    "pin 10": Inside(0.8, FIELD_V, ground=FIELD_GND, source_a=1.2, sink_a=1.2),
    "pin 13": _pin(2.2e3),
    "pin 14": _pin(600),
    "pin 15": _pin(30e3, source_a=60e-6, sink_a=60e-6),
    "pin 16": _pin(20e3),
    "pin 17": _pin(22e3),
    "pin 18": _pin(150e3),
    "pin 19": _pin(500, source_a=6e-3, sink_a=1e-3),
    "pin 20": Inside(50, TIMING_V, ground=GROUND, open_collector=True),
    "pin 22": _pin(6, source_a=15e-3, sink_a=1e-3),
    "pin 23": Inside(5e6, TIMING_V, ground=GROUND, open_collector=True),  # off
}
_OWN_V = {
    "pin 2": 2.7,
    "pin 3": 2.1,
    "pin 4": 1.02,
    "pin 5": 1.42,
    "pin 6": 3.55,
    "pin 7": 1.95,
    "pin 8": 2.08,
    "pin 9": 2.08,
    "pin 10": 11.9,
    "pin 13": 0.82,
    "pin 14": 3.95,
    "pin 15": 4.15,
    "pin 16": 2.95,
    "pin 17": 2.1,
    "pin 18": 7.2,
    "pin 19": 0.72,
    "pin 20": 2.4,
    "pin 22": 8.1,
    "pin 23": 0.0,
}
_OUTSIDES = {
    "rail-12v": Outside(12.65, 0.6),
    "rail-24v": Outside(24.6, 1.5),  # a scan rectifier: it sags with the load
    "video-line": Outside(3.2, 75),
    "flyback-winding": Outside(0, 10),
    "driver-supply": Outside(44, 220),
    "blanking-line": Outside(0.3, 10e3),
}


def _line_hold(part: DrawnPart, failure: Failure | None) -> list[str]:
    """A preset that was set to 3.0 kΩ, as its purpose says."""
    ohms = 1e9 if failure else 3.0e3
    return [f"R{part.ref} {node_name(part.joins[0])} {node_name(part.joins[1])} {ohms:g}"]


def _driver_transformer(part: DrawnPart, failure: Failure | None) -> list[str]:
    supply, collector, base, foot = (node_name(end) for end in part.joins)
    primary_ohm = 1e9 if failure else 12
    return [
        f"R{part.ref}P {supply} {collector} {primary_ohm:g}",
        f"R{part.ref}S {base} {foot} 0.4",
    ]


def _line_driver(part: DrawnPart, failure: Failure | None) -> list[str]:
    """A transistor of some watts: its base needs less than a small one's at the same current."""
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
        ".model driver npn(is=4e-14 bf=90 vaf=80 rb=4)",
    ]


def _line_output_transistor(part: DrawnPart, _: Failure | None) -> list[str]:
    """Its base junction is all that the drive sees of it."""
    return [f"D{part.ref} {node_name(part.joins[0])} {node_name(part.joins[2])} junction"]


ELECTRICS = Electrics(
    chip=CHIP,
    insides=_INSIDES,
    outsides=_OUTSIDES,
    supply_grounds={TIMING_V: GROUND, FIELD_V: FIELD_GND},
    coil_ohms={"L401": 15.0},
    off_ohms={"driver-supply": 20e3, "video-line": 5e3, "blanking-line": 12e3},
    special_parts={
        "P401": _line_hold,
        "Q401": _line_driver,
        "Q402": _line_output_transistor,
        "T401": _driver_transformer,
    },
)
DRIVE = Drive(_OWN_V, {TIMING_V: 0.044, FIELD_V: 0.022})
RUNS = {
    "video": (LINE_HZ, {"video-line": 1.0}),
    "field video": (FIELD_HZ, {"video-line": 1.0}),
    "line sync": (LINE_HZ * 4, {"pin 4": 1.0}),
    "field sync": (FIELD_SYNC_HZ, {"pin 4": 1.0}),
    "saw": (LINE_HZ, {"flyback-winding": 1.0}),
    "yoke": (FIELD_HZ, {"pin 10": 1.0}),
}
TRUE_V = {  # of a good set, where the sheet's figure is rounded
    "pin 2": 3.2,
    "pin 3": 1.9,
    "video-line": 1.95,
    "pin 4": 9.4,
    "pin 5": 2.35,
    "pin 6": 3.05,
    "pin 7": 2.35,
    "pin 8": 0.74,
    "sense-node": 0.75,
    "pin 10": 19.0,
    "pin 13": 10.0,
    "pin 14": 2.65,
    "pin 16": 1.8,
    "pin 17": 7.7,
    "pin 19": 8.6,
    "pin 20": 5.9,
    "line-driver-collector": 72.0,
}


def draw_field(share: float) -> tuple[str]:
    """Return the current of the field output for a share of the full scan."""
    drawn = f"{FIELD_A * share:g}*tanh(max(v(n_pin_11)-v(n_pin_12),0)/4)"
    return (f"BFIELD n_pin_11 n_pin_12 I={drawn}",)
