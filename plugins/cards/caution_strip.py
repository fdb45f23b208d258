"""The short form of the cautions: one line that stays in place, with the hazards of a point.

Common practice.
"""

from __future__ import annotations

from typing import Final

from ...schema.chip import Chip

_SHORT: Final = {
    "live chassis": "Live chassis: isolation transformer on, scope earth off the chassis.",
    "stored charge": "Stored charge.",
    "high voltage": "High voltage: one hand, insulated probe.",
    "hot surface": "Hot surfaces.",
    "X-radiation": "X-radiation: never defeat its protection.",
}
_USUAL: Final = "Is the chassis live? Isolation transformer on, scope earth off it. Stored charge."
_RESONATORS: Final = ("crystal", "ceramic resonator")
_COUNTS: Final = ("No", "One", "Two", "Three", "Four", "Five", "Six")
_LONGEST: Final = 90  # characters of a point's own caution before it is cut at a sentence


def summarise_cautions(chip: Chip, at: str | None = None) -> str:
    """Return the cautions of a chip in one line, for the point ``at`` its own ones first.

    ``at`` is a pin (``pin 17``) or the id of a node.
    """
    kinds = dict.fromkeys(hazard.kind for hazard in chip.hazards if hazard.at is None)
    everywhere = [_SHORT.get(kind, f"{kind[:1].upper()}{kind[1:]}.") for kind in kinds]
    sentences = [*(everywhere or [_USUAL]), *(_summarise_point(chip, at) if at else ())]
    barred = len({hazard.at for hazard in chip.hazards if not hazard.probe})
    if barred and at is None:
        count = _COUNTS[barred] if barred < len(_COUNTS) else str(barred)
        sentences.append(f"{count} point{'' if barred == 1 else 's'} not to be probed.")
    return " ".join(dict.fromkeys(sentences))


def _summarise_point(chip: Chip, at: str) -> list[str]:
    """Return the cautions of one point."""
    sentences = [_shorten(hazard.caution) for hazard in chip.hazards if hazard.at == at]
    if any(not hazard.probe for hazard in chip.hazards if hazard.at == at):
        sentences.append("Do not probe this point.")
    # The capacitance of a x1 probe is several times the load of a crystal.
    if _is_at_oscillator(chip, at):
        sentences.append("Use the x10 probe here: a x1 probe stops the oscillator.")
    return sentences


def _is_at_oscillator(chip: Chip, at: str) -> bool:
    """Return whether a point is the pin of an oscillator, or a node that a resonator joins."""
    if at.startswith("pin "):
        pin = chip.pin(at.removeprefix("pin "))
        return pin is not None and pin.role == "oscillator"
    joined = (part for part in chip.application.parts if at in part.joins)
    return any(part.kind in _RESONATORS for part in joined)


def _shorten(caution: str) -> str:
    """Return a caution, or its first sentence where it is long."""
    first, stop, _ = caution.partition(". ")
    return f"{first}." if stop and len(caution) > _LONGEST else caution
