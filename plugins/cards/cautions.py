"""Safety cautions for measuring at a pin. Common practice; local codes take precedence."""

from __future__ import annotations

from typing import Final

from ...schema.chip import Chip
from ...schema.chips.application import Hazard
from ...schema.chips.data import Pin
from ...schema.chips.usual_faults import describe_endpoint

GENERAL: Final = (
    "Work on live sets is for people trained for it; local codes and licensed practice go first."
)

GENERAL_CAUTIONS: Final = (
    "Many sets have a live chassis: use an isolation transformer, and never earth a scope lead to"
    " it.",
    "Tube boards carry hundreds of volts, the anode tens of kilovolts.",
    "Capacitors stay charged after the plug is out: discharge them through a resistor and measure"
    " before touching.",
    GENERAL,
)
"""Cautions of any set, common practice."""

# Touching a higher voltage can hurt: 60 V DC, the limit of class ES1 in IEC 62368-1 (from memory).
_HIGH_V: Final = 60.0


def list_cautions(chip: Chip, pin: Pin) -> tuple[str, ...]:
    """Return the cautions for measuring at a pin: its own first, then those for the whole set."""
    place = f"pin {pin.number}"
    pin_cautions = [_describe_hazard(hazard) for hazard in chip.hazards if hazard.at == place]
    # The capacitance of a x1 probe is several times the crystal's load.
    if pin.role == "oscillator":
        pin_cautions.append(
            "Use a x10 probe: the capacitance of a x1 probe detunes or stops an oscillator."
        )
    if _find_highest_v(pin) > _HIGH_V:
        pin_cautions.append(
            "More than 60 V here: keep one hand off, check the probe's rating first."
        )
    set_cautions = [_describe_hazard(hazard) for hazard in chip.hazards if hazard.at is None]
    return tuple(dict.fromkeys([*pin_cautions, *set_cautions, GENERAL]))


def list_cautions_at(chip: Chip, at: str) -> tuple[str, ...]:
    """Return the cautions for measuring at a pin or a node."""
    pin = chip.pin(at.removeprefix("pin ")) if at.startswith("pin ") else None
    if pin is not None:
        return list_cautions(chip, pin)
    cautions = [_describe_hazard(hazard) for hazard in chip.hazards if hazard.at in (at, None)]
    return tuple(dict.fromkeys([*cautions, GENERAL]))


def may_probe(chip: Chip, at: str) -> bool:
    """Return False where the chip file forbids probing a pin (``pin 9``) or node."""
    return all(hazard.probe for hazard in chip.hazards if hazard.at == at)


def list_hazards_nearby(chip: Chip) -> tuple[str, ...]:
    """Return the dangerous points of the application, each with its caution."""
    names = {node.id: node.name for node in chip.application.nodes}
    return tuple(
        f"{names.get(hazard.at, hazard.at)[:1].upper()}{names.get(hazard.at, hazard.at)[1:]}: "
        f"{_describe_hazard(hazard)}"
        for hazard in chip.hazards
        if hazard.at is not None and not hazard.at.startswith("pin ")
    )


def list_pin_hazards(chip: Chip) -> tuple[str, ...]:
    """Return the dangers at pins, each with its pin and caution."""
    return tuple(
        f"{endpoint[:1].upper()}{endpoint[1:]}: {_describe_hazard(hazard)}"
        for hazard in chip.hazards
        if hazard.at is not None and hazard.at.startswith("pin ")
        for endpoint in [describe_endpoint(chip, hazard.at)]
    )


def _describe_hazard(hazard: Hazard) -> str:
    """Return kind and caution of a hazard, and whether its point may be probed."""
    kind = hazard.kind[:1].upper() + hazard.kind[1:]
    return f"{kind}: {hazard.caution}" + ("" if hazard.probe else " Do not probe this point.")


def _find_highest_v(pin: Pin) -> float:
    """Return the highest voltage to ground that any expectation of the pin reaches, in volts."""
    peaks = [0.0]
    for expectation in pin.expectations:
        if expectation.waveform is not None:
            peaks += [abs(v + expectation.offset_v) for v in expectation.waveform.extremes_v[:2]]
        elif expectation.dc is not None:
            peaks.append(abs(expectation.dc.nominal))
    return max(peaks)
