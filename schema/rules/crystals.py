"""Rules on crystals and ceramic resonators: their value, and how far a loop can pull them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from ..chips.application import Block, Part
from ..chips.data import ChipData
from ..measuring.crystal import typical_resonator
from ..model import pin_number
from ..quantities import print_value
from ..systems import SCANNING
from .rule import Problem, advice, chip_rule

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
        place = ("application", "parts", index, "value")
        yield Problem(place, problem, remedy, best if is_slip else None)


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


@advice(
    "lock-range-possible",
    title="A loop pulls a resonator no farther than its series and parallel resonance lie apart.",
    why="""Between the two a resonator is inductive, as its oscillator needs it; beyond them it does
    not swing (Butterworth-Van Dyke circuit, IEC 60122-1).""",
    fix="Correct the lock range: it is that of the oscillator, before any divider.",
    bad="""
    blocks:
      - {id: line-oscillator, name: line oscillator, inputs: [pin 4], lock_range: 18 kHz,
         needs: [pin 3]}
    application:
      parts: [{ref: X1, kind: ceramic resonator, value: 500 kHz, joins: [pin 3, ground]}]
    """,
    good="""
    blocks:
      - {id: line-oscillator, name: line oscillator, inputs: [pin 4], lock_range: 6 kHz,
         needs: [pin 3]}
    application:
      parts: [{ref: X1, kind: ceramic resonator, value: 500 kHz, joins: [pin 3, ground]}]
    """,
)
def find_impossible_lock_ranges(chip: ChipData) -> Iterator[Problem]:
    """Yield each lock range beyond the resonances of the part that its oscillator swings on."""
    for index, block in enumerate(chip.blocks):
        part = _find_resonator(chip, block)
        if block.lock_range is None or part is None or part.quantity is None:
            continue
        resonator = typical_resonator(part.kind, part.quantity.nominal)
        apart_hz = resonator.loaded_hz(0) - resonator.series_hz
        if block.lock_range.nominal <= apart_hz:
            continue
        apart = print_value(apart_hz, "Hz", 2)
        problem = f"a lock range of {block.lock_range} is more than {part.ref} can be pulled"
        remedy = f"its resonances lie {apart} apart, so write less"
        yield Problem(("blocks", index, "lock_range"), problem, remedy)


def _find_resonator(chip: ChipData, block: Block) -> Part | None:
    """Return the resonator at a pin that a stage works with, if there is one."""
    pins = [end for end in (*block.needs, *block.inputs) if pin_number(end) is not None]
    resonators = [part for part in chip.application.parts if part.kind in _RESONATORS]
    return next((part for part in resonators if {*pins} & {*part.joins}), None)
