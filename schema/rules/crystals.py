"""The rule on crystals and ceramic resonators."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from ..chips.application import Part
from ..chips.data import ChipData
from ..quantities import print_value
from ..systems import SCANNING
from .rule import Problem, chip_rule

_RESONATORS: Final = frozenset({"crystal", "ceramic resonator"})
# Farther off than this share, a value belongs to another crystal and is no slip of the pen.
_SLIP_SHARE: Final = 0.05
# Largest distance from a usual frequency, as a share of it. A decoder's catching range is a few
# hundred hertz in 4 MHz; a ceramic resonator is trimmed by its capacitors and pulled by the AFC.
# Common practice.
_CRYSTAL_SHARE: Final = 250e-6
_CERAMIC_SHARE: Final = 0.02
# Usual multiples of the subcarrier, and of the line frequency. Common practice.
_SUBCARRIER_MULTIPLES: Final = (1, 2, 4)
_LINE_MULTIPLES: Final = (32, 64)


@chip_rule(
    "crystal-fits",
    title="""A crystal runs at a multiple of the subcarrier or the line frequency of the systems,
    or gives its reason.""",
    why="A decoder catches a few hundred hertz: with another crystal there is no colour.",
    fix="Correct the value or the systems, or give the reason under `why`.",
    bad="""
    application:
      parts: [{ref: X1, kind: crystal, value: 4.43 MHz, joins: [pin 3, ground]}]
    """,
    good="""
    application:
      parts: [{ref: X1, kind: crystal, value: 4.433619 MHz, joins: [pin 3, ground]}]
    """,
)
def check_crystal_fits(chip: ChipData) -> Iterator[Problem]:
    """Yield each crystal at an unusual frequency, with the nearest usual one to write."""
    usual_hz = _list_usual_frequencies_hz(chip)
    for index, part in enumerate(chip.application.parts):
        quantity = part.quantity
        if part.kind not in _RESONATORS or part.why or quantity is None or not usual_hz:
            continue
        nearest_hz = min(usual_hz, key=lambda hz: abs(hz - quantity.nominal))
        share_off = abs(quantity.nominal / nearest_hz - 1)
        if share_off <= _find_allowed_share(chip, part, quantity.nominal):
            continue
        is_slip = share_off < _SLIP_SHARE
        best = print_value(nearest_hz if is_slip else usual_hz[0], "Hz", 7)
        problem = f"a {part.kind} of {part.value} does not suit {', '.join(chip.systems)}"
        remedy = f"use {best}, or state under 'why' why it differs"
        at = ("application", "parts", index, "value")
        yield Problem(at, problem, remedy, best if is_slip else None)


def _list_usual_frequencies_hz(chip: ChipData) -> list[float]:
    """Return the usual frequencies for the systems: the subcarrier first, the sound last."""
    scannings = [SCANNING[system] for system in chip.systems]
    return [
        *(
            float(hz) * multiple
            for scanning in scannings
            for hz in scanning.subcarrier_hz
            for multiple in _SUBCARRIER_MULTIPLES
        ),
        *(
            float(scanning.line_hz) * multiple
            for scanning in scannings
            for multiple in _LINE_MULTIPLES
        ),
        *(float(scanning.intercarrier_hz) for scanning in scannings),
    ]


def _find_allowed_share(chip: ChipData, part: Part, frequency_hz: float) -> float:
    """Return how far off the part may be, as a share of its frequency."""
    if part.kind == "ceramic resonator":
        return _CERAMIC_SHARE
    pull_in = chip.application.pull_in
    if pull_in is None:
        return _CRYSTAL_SHARE
    return max(_CRYSTAL_SHARE, pull_in.nominal / frequency_hz)
