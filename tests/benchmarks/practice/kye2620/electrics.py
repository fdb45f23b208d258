"""The KYE2620's board as ngspice solves it.

Stated in the chip file: volts and resistances of the pins. Chosen here, as common practice: the
sinks of outputs, and the circuits behind nodes that the drawing leaves open. Pins that swing have
the resistance of the stage that swings them; the stages' rules give the rest when it stops.
"""

from __future__ import annotations

from functools import cache

from boards.board import Board, calibrate
from boards.circuit import Electrics, Inside, Outside, node_name
from boards.drawn_chip import DrawnPart
from boards.faults import Failure

from practice.set_off import fit_set_off
from practice.stated import read_stated_chip

PART = "KYE2620"
CHIP = read_stated_chip(PART)
SUPPLY, GROUND = "pin 18", "pin 4"
LINE_HZ, FIELD_HZ = 15625.0, 50.0
SUPPLY_ENOUGH_V = 8.5  # a 12 V deflection chip works down to about here: common practice
IDLE_OHM = 1e6  # of a timing pin whose stage does nothing
SWITCHED_ON_OHM, SWITCHED_OFF_OHM = 3.0, 5e6  # of the drive output


def _pin(ohms: float, follows: str | None = None, **limits: float) -> Inside:
    return Inside(ohms, SUPPLY, follows, GROUND, **limits)


_SWINGING_OHM = 2e3
_FOLLOWER = {"source_a": 10e-3, "sink_a": 0.5e-3}
_INSIDES = {
    "pin 1": Inside(60, follows=SUPPLY, ground=GROUND),  # a quarter of the supply
    "pin 2": _pin(_SWINGING_OHM),
    "pin 3": _pin(150e3, "pin 20"),
    "pin 5": _pin(8e3),
    "pin 6": _pin(80e3),
    "pin 7": _pin(100e3),
    "pin 8": _pin(200e3),
    "pin 9": _pin(1e6),  # an open collector that is off
    "pin 10": _pin(47e3),
    "pin 11": _pin(_SWINGING_OHM),
    "pin 12": _pin(_SWINGING_OHM),
    "pin 13": _pin(50e3),
    "pin 14": _pin(150, **_FOLLOWER),
    "pin 15": _pin(120, **_FOLLOWER),
    "pin 16": _pin(12e3),
    "pin 17": _pin(100e3, "pin 20"),
    "pin 19": _pin(50),
    "pin 20": Inside(3.3e3, follows=SUPPLY, ground=GROUND),  # half of it
}
_OUTSIDES = {
    "rail-12v": Outside(12.4, 0.1),
    "video-line": Outside(3.9, 75),
    "flyback-winding": Outside(0, 10),
    "yoke-sense": Outside(3.2, 10),
    "vertical-output-stage": Outside(0.7, 1e3),
    "driver-supply": Outside(66, 1e3),
}
_OUTSIDE_OFF_OHMS = {
    "video-line": 5e3,
    "vertical-output-stage": 8e3,
    "driver-supply": 20e3,
}


def _line_hold(part: DrawnPart, failure: Failure | None) -> list[str]:
    """A preset that was set to 1.4 kΩ, as its purpose says."""
    ohms = 1e9 if failure else 1.4e3
    return [f"R{part.ref} {node_name(part.joins[0])} {node_name(part.joins[1])} {ohms:g}"]


def _driver_transformer(part: DrawnPart, failure: Failure | None) -> list[str]:
    supply, collector, base, foot = (node_name(end) for end in part.joins)
    primary_ohm = 1e9 if failure else 8
    return [
        f"R{part.ref}P {supply} {collector} {primary_ohm:g}",
        f"R{part.ref}S {base} {foot} 0.3",
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


ELECTRICS = fit_set_off(
    Electrics(
        chip=CHIP,
        insides=_INSIDES,
        outsides=_OUTSIDES,
        supply_grounds={SUPPLY: GROUND},
        off_ohms=_OUTSIDE_OFF_OHMS,
        special_parts={
            "P501": _line_hold,
            "Q501": _line_driver,
            "Q502": _line_output_transistor,
            "T501": _driver_transformer,
        },
    )
)
DRIVE = calibrate(ELECTRICS)
RUNS = {
    "video": (LINE_HZ, {"video-line": 1.0}),
    "yoke": (FIELD_HZ, {"yoke-sense": 1.0}),
    "to the output": (FIELD_HZ, {"pin 14": 1.0}),
}


@cache
def good_board() -> Board:
    """Return a board without a fault, all values exact."""
    return Board(ELECTRICS, DRIVE)


def supply_v(board: Board) -> float:
    """Return the supply that the chip really has."""
    return 0.0 if SUPPLY in board.fault.lifted else board.dc[SUPPLY] - board.dc[GROUND]
