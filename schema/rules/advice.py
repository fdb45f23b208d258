"""Advice on a chip that keeps every rule: missing values, and odd ones to look at again.

Advice never keeps a chip out of a folio. Judgements of a role's usual values are common practice.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Final

from ..chips.data import ChipData, Pin
from ..chips.expectation import Expectation
from ..chips.places import Place, walk_expectations, walk_pin_expectations
from ..model import pin_number
from ..quantities import print_value
from .example import expect, expect_sine, write_pin
from .rule import Problem, advice, advice_across_chips

# Roles that a block diagram usually omits: no signal enters or leaves there.
_OFF_THE_DIAGRAM: Final = frozenset({"supply", "ground", "unused"})
# Roles that rest at some voltage of their own while the chip works.
_BIASED_ROLES: Final = frozenset({"output", "reference", "decoupling", "oscillator"})
_GROUND_DROP_V: Final = 0.1  # a meter may read this on a ground pin, from the drop on the board
_SUPPLY_PERCENT: Final = 10.0  # how far a supply may be off if the chip file does not say


@advice(
    "dc-missing",
    title="""A pin has DC in every condition in which most pins have it, and with every floating
    waveform.""",
    why="DC is measured first: a pin without it is no help where its neighbours have it.",
    fix="Add the DC voltage from the data sheet, or measure it.",
    bad=write_pin(4, expect("resistance: {red_on_pin: 5 kΩ}")),
    good=write_pin(4, expect("dc: 4 V, resistance: {red_on_pin: 5 kΩ}")),
)
def find_missing_dc(chip: ChipData) -> Iterator[Problem]:
    """Yield each pin and condition without DC, and the line to write."""
    usual_sources = _find_usual_dc_sources(chip)
    for index, pin in enumerate(chip.pins):
        if pin.role == "unused":
            continue
        by_condition = {e.condition: (number, e) for number, e in enumerate(pin.expectations)}
        for condition in (condition.name for condition in chip.conditions):
            number, expectation = by_condition.get(condition, (0, None))
            place: Place = ("pins", index, "expectations")
            if expectation is None and condition in usual_sources:
                problem = f"pin {pin.number} has no DC in '{condition}', where most pins have it"
                source = f"source: {{id: {usual_sources[condition]}, page: …}}"
                write = f"- {{condition: {condition}, dc: … V, {source}}}"
                yield Problem(place, problem, "add the voltage", write)
            elif expectation is not None and _lacks_dc(expectation, condition in usual_sources):
                problem = f"pin {pin.number} has no DC beside these values"
                yield Problem((*place, number), problem, "add the voltage", "dc: … V")


def _lacks_dc(expectation: Expectation, usual: bool) -> bool:
    """Return True if DC is missing where it is usual, or where a floating waveform needs it."""
    waveform = expectation.waveform
    return expectation.dc is None and (usual or (waveform is not None and waveform.floats))


def _find_usual_dc_sources(chip: ChipData) -> dict[str, str]:
    """Return the conditions in which over half of the pins have DC, with the usual source."""
    sources: dict[str, Counter[str]] = {}
    for _, _, expectation in walk_pin_expectations(chip):
        if expectation.dc is not None:
            counts = sources.setdefault(expectation.condition, Counter())
            counts[expectation.source.id] += 1
    used_pins = sum(pin.role != "unused" for pin in chip.pins)
    return {
        condition: counts.most_common(1)[0][0]
        for condition, counts in sources.items()
        if counts.total() > used_pins / 2
    }


@advice(
    "source-page-missing",
    title="A value from a data sheet gives its page, or a note where else it was read.",
    why="With the page at hand a doubtful value is checked in a minute.",
    fix="Add `page`, or a `note` if the source has no pages.",
    bad=write_pin(4, expect("dc: 4 V", "{id: sheet}")),
    good=write_pin(4, expect("dc: 4 V", "{id: sheet, page: 3}")),
)
def find_missing_pages(chip: ChipData) -> Iterator[Problem]:
    """Yield each value from a data sheet without page and note."""
    sheets = {source.id for source in chip.sources if source.kind == "data sheet"}
    references = [(at, expectation.source) for at, expectation in walk_expectations(chip)]
    references += [(("parameters", n), p.source) for n, p in enumerate(chip.parameters)]
    for place, source in references:
        if source.id in sheets and source.page is None and not source.note:
            problem = f"source {source.id} is given without a page"
            yield Problem((*place, "source"), problem, "add the page of the value", "page: …")


@advice(
    "dc-for-role",
    title="""Ground reads 0 V, a supply pin its supply, and a working pin is not dead in every
    condition.""",
    why="Another voltage on such a pin is probably a value from the neighbouring row.",
    fix="Compare the voltage with the data sheet, and the role with the pin table.",
    bad=write_pin(2, expect("dc: 3 V")),
    good=write_pin(2, expect("dc: 20 mV")),
)
def find_odd_dc(chip: ChipData) -> Iterator[Problem]:
    """Yield each DC voltage that does not go with the role of its pin."""
    for place, pin, expectation in walk_pin_expectations(chip):
        if expectation.dc is None:
            continue
        dc_v = expectation.dc.nominal
        if pin.role == "ground" and abs(dc_v) > _GROUND_DROP_V:
            problem = f"ground pin {pin.number} reads {expectation.dc} instead of 0 V"
            yield Problem((*place, "dc"), problem, "correct the voltage or the role", "0 V")
        if (
            pin.role == "supply"
            and not _matches_supply(chip, pin, dc_v)
            and not _is_switched_off(chip, pin, dc_v)
        ):
            supply = next(str(s.voltage) for s in chip.supplies if pin.number in s.pins)
            problem = f"supply pin {pin.number} reads {expectation.dc} instead of {supply}"
            yield Problem((*place, "dc"), problem, "correct the voltage or the supply", supply)
    # Between a positive and a negative supply an output may well rest at 0 V.
    if chip.supply_range_v[0] < 0:
        return
    for index, pin in enumerate(chip.pins):
        if pin.role in _BIASED_ROLES and _is_always_dead(pin):
            problem = f"{pin.role} pin {pin.number} reads 0 V in every condition"
            remedy = "correct the voltage, or add a waveform or another condition"
            yield Problem(("pins", index, "expectations"), problem, remedy)


def _matches_supply(chip: ChipData, pin: Pin, dc_v: float) -> bool:
    """Return True if this is a good reading of one of the supplies that enter at the pin."""
    limits_v = [s.voltage.limits(_SUPPLY_PERCENT) for s in chip.supplies if pin.number in s.pins]
    return any(
        low_v - _GROUND_DROP_V <= dc_v <= high_v + _GROUND_DROP_V for low_v, high_v in limits_v
    )


def _is_switched_off(chip: ChipData, pin: Pin, dc_v: float) -> bool:
    """Return True if the pin reads 0 V here but its supply in another condition."""
    others_v = [e.dc.nominal for e in pin.expectations if e.dc is not None]
    return abs(dc_v) <= _GROUND_DROP_V and any(
        _matches_supply(chip, pin, other_v) for other_v in others_v
    )


def _is_always_dead(pin: Pin) -> bool:
    """Return True if every known DC is 0 V and there is no waveform."""
    known_v = [e.dc.nominal for e in pin.expectations if e.dc is not None]
    has_waveform = any(e.waveform is not None for e in pin.expectations)
    return bool(known_v) and not any(known_v) and not has_waveform


@advice(
    "peak-near-limit",
    title="A peak lies within ground and the supply, without help of the slack for rounding.",
    why="""A peak just beyond may be the rounding of the data sheet, or a wrong size or DC; a coil
    or a diode that lifts it is worth stating.""",
    fix="Check the peak to peak and the DC, or give the reason under `beyond_supply`.",
    bad=write_pin(4, expect_sine("2 V", "4.1 Vpp")),
    good=write_pin(4, expect_sine("2 V", "3.9 Vpp")),
)
def find_peaks_near_limit(chip: ChipData) -> Iterator[Problem]:
    """Yield each peak that only the slack of the rules allows."""
    bottom_v, top_v = chip.supply_range_v
    for place, _, expectation in walk_pin_expectations(chip):
        waveform = expectation.waveform
        if waveform is None or expectation.beyond_supply or expectation.dc is None:
            continue
        low_v, high_v = (v + expectation.offset_v for v in waveform.extremes_v[:2])
        peak_v = high_v if high_v > top_v else low_v
        if bottom_v <= peak_v <= top_v:
            continue
        limits = f"{print_value(bottom_v, 'V')} to {print_value(top_v, 'V')}"
        problem = f"a peak of {print_value(peak_v, 'V')} is outside {limits}"
        remedy = "check size and DC, or give the reason under 'beyond_supply'"
        yield Problem((*place, "waveform"), problem, remedy, "beyond_supply: …")


@advice(
    "pin-in-no-block",
    title="Every signal pin is connected to a block, if the chip file has blocks.",
    why="A signal is followed block by block; at a pin in no block the path breaks off.",
    fix="Add the pin to the inputs, outputs or needs of its block.",
    bad="blocks: [{id: amplifier, name: amplifier, inputs: [pin 3], needs: [pin 1]}]",
    good="blocks: [{id: amplifier, name: amplifier, inputs: [pin 3], outputs: [pin 4]}]",
)
def find_unconnected_pins(chip: ChipData) -> Iterator[Problem]:
    """Yield each signal pin that no block names, with the key to write it under."""
    ends = [end for block in chip.blocks for end in (*block.inputs, *block.outputs, *block.needs)]
    connected = {pin_number(end) for end in ends}
    for index, pin in enumerate(chip.pins):
        if chip.blocks and pin.number not in connected and pin.role not in _OFF_THE_DIAGRAM:
            key = {"output": "outputs", "input": "inputs"}.get(pin.role, "needs")
            problem = f"pin {pin.number} is in no block"
            remedy = f"list it under the {key} of a block"
            yield Problem(("pins", index, "number"), problem, remedy, f"{key}: [pin {pin.number}]")


def _draw_divider(middle: str) -> str:
    """Return the fragment of two equal resistors from the supply to ground."""
    source = "source: {id: sheet, page: 2}"
    return f"""\
application:
  parts:
    - {{ref: R1, kind: resistor, value: 10k, joins: [pin 1, middle]}}
    - {{ref: R2, kind: resistor, value: 10k, joins: [middle, ground]}}
  nodes:
    - id: middle
      name: middle of the divider
      expectations: [{{condition: colour bars, dc: {middle}, {source}}}]
"""


advice_across_chips(
    "circuit-contradicts",
    title="The drawn circuit makes the stated voltages and signals, within their tolerances.",
    why="""A value that the parts cannot make, or a part that is missing in the drawing, misleads
    fault finding: a good set would be judged bad.""",
    fix="Correct the value, the parts, or draw the source that is left out.",
    bad=_draw_divider("9 V"),
    good=_draw_divider("4 V"),
)


def _draw_roll_off(burst: str) -> str:
    """Return the fragment of a roll-off at 723 kHz behind a composite video output."""
    video = "kind: composite video, system: PAL-B/G, bars: 75 %, vpp: 1 Vpp"
    sheet = "source: {id: sheet, page: 2}"
    return f"""\
application:
  parts:
    - {{ref: R1, kind: resistor, value: 1k, joins: [pin 4, filtered]}}
    - {{ref: C1, kind: capacitor, value: 220p, joins: [filtered, ground]}}
  nodes:
    - id: filtered
      name: video without colour
      expectations:
        - {{condition: colour bars, dc: 4 V, waveform: {{{video}{burst}}}, {sheet}}}
pins:
  - number: 4
    symbol: OUT
    function: composite video output
    role: output
    expectations: [{{condition: colour bars, dc: 4 V, waveform: {{{video}}}, {sheet}}}]
"""


advice_across_chips(
    "roll-off-forgotten",
    title="A burst, or a packet of a test signal, is stated as the drawn circuit leaves it.",
    why="""Behind a resistor and a capacitor to ground little is left of a burst; who looks for the
    whole one there hunts for a fault that is none.""",
    fix="State the `burst` that is left, or correct the parts.",
    bad=_draw_roll_off(""),
    good=_draw_roll_off(", burst: 48 mVpp"),
)
advice_across_chips(
    "symbol-unusual",
    title="Pins with the same function have the same symbol as on the other chips given.",
    why="""Pins that do the same are easier to find under one symbol; a lone symbol is often a
    misreading of the data sheet.""",
    fix="Compare the symbol with the pin table, and use the usual one if it means the same.",
    bad=write_pin(3, expect("dc: 3 V"), symbol="CVB5"),
    good=write_pin(3, expect("dc: 3 V"), symbol="CVBS IN"),
)
