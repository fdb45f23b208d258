"""What can hurt, said where the probe goes. Common practice; local codes go before it."""

from __future__ import annotations

from typing import Final

from ...schema import Chip, Hazard, Pin

GENERAL: Final = (
    "Work on live sets is for people trained for it; local codes and licensed practice go first."
)

# Above this a touch can hurt: 60 V DC, the limit of class ES1 in IEC 62368-1 (from memory).
_HIGH_V: Final = 60.0


def list_cautions(chip: Chip, pin: Pin) -> tuple[str, ...]:
    """The cautions for measuring at ``pin``: its own first, then those of the whole set."""
    end = f"pin {pin.number}"
    here = [_describe_hazard(hazard) for hazard in chip.hazards if hazard.at == end]
    if pin.role == "oscillator":
        here.append(
            "Use a x10 probe: the capacitance of a x1 probe detunes or stops an oscillator."
        )
    if _find_highest_v(pin) > _HIGH_V:
        here.append("More than 60 V here: keep one hand off, check the probe's rating first.")
    everywhere = [_describe_hazard(hazard) for hazard in chip.hazards if hazard.at is None]
    return tuple(dict.fromkeys([*here, *everywhere, GENERAL]))


def list_cautions_at(chip: Chip, at: str) -> tuple[str, ...]:
    """The cautions for measuring at a pin or a node."""
    pin = chip.pin(at.removeprefix("pin ")) if at.startswith("pin ") else None
    if pin is not None:
        return list_cautions(chip, pin)
    said = [_describe_hazard(hazard) for hazard in chip.hazards if hazard.at in (at, None)]
    return tuple(dict.fromkeys([*said, GENERAL]))


def may_probe(chip: Chip, at: str) -> bool:
    """False where the chip file says that a pin (``pin 9``) or node must never be probed."""
    return all(hazard.probe for hazard in chip.hazards if hazard.at == at)


def list_hazards_nearby(chip: Chip) -> tuple[str, ...]:
    """Dangerous points of the application, each with its caution."""
    names = {node.id: node.name for node in chip.application.nodes}
    return tuple(
        f"{names.get(hazard.at, hazard.at)[:1].upper()}{names.get(hazard.at, hazard.at)[1:]}: "
        f"{_describe_hazard(hazard)}"
        for hazard in chip.hazards
        if hazard.at is not None and not hazard.at.startswith("pin ")
    )


def _describe_hazard(hazard: Hazard) -> str:
    kind = hazard.kind[:1].upper() + hazard.kind[1:]
    return f"{kind}: {hazard.caution}" + ("" if hazard.probe else " Do not probe this point.")


def _find_highest_v(pin: Pin) -> float:
    peaks = [0.0]
    for expectation in pin.expectations:
        if expectation.waveform is not None:
            peaks += [abs(v + expectation.offset_v) for v in expectation.waveform.extremes_v[:2]]
        elif expectation.dc is not None:
            peaks.append(abs(expectation.dc.nominal))
    return max(peaks)
