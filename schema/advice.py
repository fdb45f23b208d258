"""Advice on a chip that keeps every rule: what is missing, or odd enough to look at again.

Like the rules, each piece of advice is a function from a chip to its findings, named like the
advice; unlike a broken rule it never keeps a chip out of a folio. What is plausible for a role is
common practice.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

from .model import pin_number
from .quantity import print_value
from .rules import (
    Finding,
    Place,
    Rule,
    all_expectations,
    pin_expectations,
    supply_range_v,
)

if TYPE_CHECKING:
    from .chip import Chip, Pin

# Roles that a block diagram usually leaves out, and that a signal never enters or leaves by.
_OFF_THE_DIAGRAM: Final = frozenset({"supply", "ground", "unused"})
# Roles that rest at some voltage of their own as long as the chip works.
_LIVELY: Final = frozenset({"output", "reference", "decoupling", "oscillator"})
_NO_VOLTS: Final = 0.1  # what a meter may read on a ground pin, from the drop along the board
_SUPPLY_PERCENT: Final = 10.0  # how far a supply may be off where the chip file does not say


def advise(chip: Chip) -> tuple[Finding, ...]:
    """All advice on a chip; empty when there is nothing to say."""
    return tuple(finding for rule in ADVICE for finding in rule(chip))


def dc_missing(chip: Chip) -> Iterator[Finding]:
    """A pin has DC in every condition in which more than half of the pins have it.

    And a waveform whose place is given by its DC never goes without one.
    """
    usual = _usual_sources(chip)
    for index, pin in enumerate(chip.pins):
        if pin.role == "unused":
            continue
        known = {e.condition: (place, e) for place, e in enumerate(pin.expectations)}
        for condition in (condition.name for condition in chip.conditions):
            place, expectation = known.get(condition, (0, None))
            at: Place = ("pins", index, "expectations")
            if expectation is None and condition in usual:
                told = f"found no DC on pin {pin.number} in '{condition}', expected it as on others"
                source = f"source: {{id: {usual[condition]}, page: …}}"
                write = f"- {{condition: {condition}, dc: … V, {source}}}"
                yield Finding("dc-missing", at, told, write)
            elif expectation is not None and expectation.dc is None:
                waveform = expectation.waveform
                if condition in usual or (waveform is not None and waveform.floats):
                    told = f"found no DC beside this on pin {pin.number}, expected it as on others"
                    yield Finding("dc-missing", (*at, place), told, "dc: … V")


def source_page_missing(chip: Chip) -> Iterator[Finding]:
    """A value from a data sheet says on which page it stands, or in a note where else."""
    sheets = {source.id for source in chip.sources if source.kind == "data sheet"}
    for at, expectation in all_expectations(chip):
        source = expectation.source
        if source.id in sheets and source.page is None and not source.note:
            told = f"found {source.id} without a page, expected the page the value stands on"
            yield Finding("source-page-missing", (*at, "source"), told, "page: …")


def dc_for_role(chip: Chip) -> Iterator[Finding]:
    """Ground reads nothing, a supply pin its supply, and what works is not dead in every state."""
    for at, pin, expectation in pin_expectations(chip):
        if expectation.dc is None:
            continue
        read_v = expectation.dc.nominal
        if pin.role == "ground" and abs(read_v) > _NO_VOLTS:
            told = f"found {expectation.dc} on a ground pin, expected 0 V"
            yield Finding("dc-for-role", (*at, "dc"), told, "0 V")
        if pin.role == "supply" and not _is_supply(chip, pin, read_v) and not _off(chip, pin, at):
            supply = next(str(s.voltage) for s in chip.supplies if pin.number in s.pins)
            told = f"found {expectation.dc} on a supply pin, expected its supply, {supply}"
            yield Finding("dc-for-role", (*at, "dc"), told, supply)
    for index, pin in enumerate(chip.pins):
        if pin.role in _LIVELY and _always_dead(pin) and supply_range_v(chip)[0] == 0:
            expected = "more than 0 V, or a waveform, in one of the conditions"
            told = f"found 0 V in every condition on {_a(pin.role)} pin, expected {expected}"
            yield Finding("dc-for-role", ("pins", index, "expectations"), told)


def peak_near_limit(chip: Chip) -> Iterator[Finding]:
    """A peak that the rules let pass only because values are rounded is looked at again."""
    bottom_v, top_v = supply_range_v(chip)
    for at, _, expectation in pin_expectations(chip):
        waveform = expectation.waveform
        if waveform is None or expectation.beyond_supply or expectation.dc is None:
            continue
        low_v, high_v = (v + expectation.offset_v for v in waveform.extremes_v[:2])
        peak_v = high_v if high_v > top_v else low_v
        if bottom_v <= peak_v <= top_v:
            continue
        limit = f"{print_value(bottom_v, 'V')} to {print_value(top_v, 'V')}"
        told = f"found a peak of {print_value(peak_v, 'V')}, expected it within {limit}"
        yield Finding("peak-near-limit", (*at, "waveform"), told, "beyond_supply: …")


def pin_in_no_block(chip: Chip) -> Iterator[Finding]:
    """Where there is a block diagram, every signal pin is connected to a block of it."""
    ends = [e for block in chip.blocks for e in (*block.inputs, *block.outputs, *block.needs)]
    connected = {pin_number(end) for end in ends}
    for index, pin in enumerate(chip.pins):
        if chip.blocks and pin.number not in connected and pin.role not in _OFF_THE_DIAGRAM:
            key = {"output": "outputs", "input": "inputs"}.get(pin.role, "needs")
            told = f"found pin {pin.number} in no block, expected a block under whose {key} it is"
            at = ("pins", index, "number")
            yield Finding("pin-in-no-block", at, told, f"{key}: [pin {pin.number}]")


ADVICE: tuple[Rule, ...] = (
    dc_missing,
    source_page_missing,
    dc_for_role,
    peak_near_limit,
    pin_in_no_block,
)


def _usual_sources(chip: Chip) -> dict[str, str]:
    """Conditions in which more than half of the pins have DC, each with its commonest source."""
    sources: dict[str, Counter[str]] = {}
    for _, _, expectation in pin_expectations(chip):
        if expectation.dc is not None:
            told = sources.setdefault(expectation.condition, Counter())
            told[expectation.source.id] += 1
    used = sum(pin.role != "unused" for pin in chip.pins)
    return {
        condition: told.most_common(1)[0][0]
        for condition, told in sources.items()
        if told.total() > used / 2
    }


def _is_supply(chip: Chip, pin: Pin, read_v: float) -> bool:
    """Whether this is a good reading of one of the supplies that enter at the pin."""
    limits = [s.voltage.limits(_SUPPLY_PERCENT) for s in chip.supplies if pin.number in s.pins]
    return any(low_v - _NO_VOLTS <= read_v <= high_v + _NO_VOLTS for low_v, high_v in limits)


def _off(chip: Chip, pin: Pin, at: Place) -> bool:
    """Whether the supply is switched off in this condition, but there in another."""
    dc = pin.expectations[int(at[-1])].dc
    others = [e.dc.nominal for e in pin.expectations if e.dc is not None]
    return (
        dc is not None
        and abs(dc.nominal) <= _NO_VOLTS
        and any(_is_supply(chip, pin, read_v) for read_v in others)
    )


def _always_dead(pin: Pin) -> bool:
    """Whether DC is known and nothing but 0 V, without a waveform anywhere."""
    known = [e.dc.nominal for e in pin.expectations if e.dc is not None]
    moves = any(e.waveform is not None for e in pin.expectations)
    return bool(known) and not any(known) and not moves


def _a(word: str) -> str:
    return f"an {word}" if word[0] in "aeiou" else f"a {word}"
