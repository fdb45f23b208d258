"""Pins with the set off, so that a good board reads the resistances that its chip file states."""

from __future__ import annotations

from dataclasses import replace

import yaml
from boards.board import Board, calibrate
from boards.circuit import Electrics
from boards.drawn_chip import DrawnChip
from pinfolio.schema.quantities import parse_quantity

_ROUNDS, _STEP = 8, 0.6
_MOST_OHM, _LEAST_OHM = 10e6, 1.0


def fit_set_off(electrics: Electrics) -> Electrics:
    """Return the electrics with each pin's inside as the stated resistances ask for.

    Neighbours shunt each other through the drawn parts, so all pins are corrected in some rounds.
    """
    wanted_ohm = _stated_off_ohms(electrics.chip)
    pins = [pin for pin in wanted_ohm if electrics.chip.roles[pin] != "ground"]
    drive, inside_ohm = calibrate(electrics), {pin: wanted_ohm[pin] for pin in pins}
    for _ in range(_ROUNDS):
        electrics = replace(electrics, off_ohms={**electrics.off_ohms, **inside_ohm})
        read_ohm = Board(electrics, drive).ohms_of_each(pins)
        inside_ohm = {
            pin: _clip_ohm(1 / inside_ohm[pin] + _STEP * (1 / wanted_ohm[pin] - 1 / read_ohm[pin]))
            for pin in pins
        }
    return replace(electrics, off_ohms={**electrics.off_ohms, **inside_ohm})


def _clip_ohm(conductance_s: float) -> float:
    return 1 / min(max(conductance_s, 1 / _MOST_OHM), 1 / _LEAST_OHM)


def _stated_off_ohms(chip: DrawnChip) -> dict[str, float]:
    document = yaml.load(chip.path.read_text(encoding="utf-8"), Loader=yaml.BaseLoader)
    return {
        f"pin {pin['number']}": parse_quantity(stated["resistance"]["red_on_pin"], "Ω").nominal
        for pin in document["pins"]
        for stated in pin["expectations"]
        if stated["condition"] == "off"
        and "resistance" in stated
        and pin["role"] not in ("ground", "unused")
    }
