"""Rules that only the whole chip can be held against, each with its own message.

A rule is a function from a chip to its findings, named like the rule. Messages read "found X,
expected Y"; voltages are judged with a little slack, since data sheets round.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from .expectation import Expectation
from .model import pin_number
from .quantity import Quantity, print_value
from .systems import SCANNING
from .text import nearest_word, part_key

if TYPE_CHECKING:
    from .application import Part
    from .chip import Chip, Pin

Place = tuple[str | int, ...]
"""Keys and indexes that lead to a value in the chip file."""

# How far past a rail a value may be before it is doubted, in volts and as a share of the supply:
# typical values are rounded, and clamp diodes let a peak a little past.
_SLACK_V: Final = 0.1
_SLACK_SHARE: Final = 0.02
_SAME_CRYSTAL: Final = 0.05  # farther off than this a value is another crystal, not a slip
# How far a crystal may be from a multiple of the subcarrier: a decoder's catching range is a few
# hundred hertz in 4 MHz. Common practice.
_CRYSTAL_OFF: Final = 250e-6
_RESONATOR_OFF: Final = 0.02  # a ceramic one is trimmed by its capacitors, and pulled by the AFC


@dataclass(frozen=True)
class Finding:
    """One broken rule: its name, where in the chip (keys and indexes), and what to do."""

    rule: str
    at: Place
    message: str
    write: str | None = None
    """The nearest right word, where there is one."""


Rule = Callable[["Chip"], Iterator[Finding]]
Span = tuple[float, float]


def check_chip(chip: Chip) -> tuple[Finding, ...]:
    """Hold a chip against every rule; empty when it passes."""
    return tuple(finding for rule in RULES for finding in rule(chip))


def pins_complete(chip: Chip) -> Iterator[Finding]:
    """Every pin of the package is there once, in the order of the numbers."""
    numbers = [pin.number for pin in chip.pins]
    count = chip.package.pins
    for number, times in Counter(numbers).items():
        if times > 1:
            at = ("pins", len(numbers) - 1 - numbers[::-1].index(number), "number")
            yield Finding("pins-complete", at, f"found pin {number} twice, expected it once")
        if not 1 <= number <= count:
            at = ("pins", numbers.index(number), "number")
            expected = f"1 to {count} for {chip.package.name}"
            yield Finding("pins-complete", at, f"found pin {number}, expected {expected}")
    missing = [str(number) for number in range(1, count + 1) if number not in numbers]
    if missing:
        expected = f"each of the {count} pins of {chip.package.name}"
        told = f"found no pin {', '.join(missing)}, expected {expected}"
        yield Finding("pins-complete", ("pins",), told)
    for index, (first, second) in enumerate(pairwise(numbers), start=1):
        if second < first:
            told = f"found pin {second} after pin {first}, expected the order of the numbers"
            yield Finding("pins-complete", ("pins", index, "number"), told)


def symbols_once(chip: Chip) -> Iterator[Finding]:
    """No two pins have the same symbol, so that a symbol names one pin."""
    first: dict[str, int] = {}
    for index, pin in enumerate(chip.pins):
        earlier = first.setdefault(pin.symbol.upper(), pin.number)
        if earlier != pin.number:
            told = f"found symbol {pin.symbol} on pins {earlier} and {pin.number}"
            at = ("pins", index, "symbol")
            write = f"{pin.symbol}{pin.number}"
            yield Finding("symbols-once", at, f"{told}, expected each symbol once", write)


def names_once(chip: Chip) -> Iterator[Finding]:
    """Conditions, sources, symptoms, blocks, nodes and parts each have a name of their own."""
    application = chip.application
    named: tuple[tuple[Place, str, list[str]], ...] = (
        (("conditions",), "name", [condition.name for condition in chip.conditions]),
        (("sources",), "id", [source.id for source in chip.sources]),
        (("symptoms",), "name", [symptom.name for symptom in chip.symptoms]),
        (("blocks",), "id", [block.id for block in chip.blocks]),
        (("application", "nodes"), "id", [node.id for node in application.nodes]),
        (("application", "parts"), "ref", [part.ref for part in application.parts]),
    )
    for where, key, names in named:
        for index, name in enumerate(names):
            if name in names[:index]:
                told = f"found {key} {name} twice, expected each once"
                yield Finding("names-once", (*where, index, key), told)
    both = {block.id for block in chip.blocks} & {node.id for node in application.nodes}
    for name in sorted(both | ({"ground"} & {node.id for node in application.nodes})):
        at = ("application", "nodes", [node.id for node in application.nodes].index(name), "id")
        told = f"found a node {name}, expected a name that no block has and that is not ground"
        yield Finding("names-once", at, told)


def references_exist(chip: Chip) -> Iterator[Finding]:
    """Every expectation names a condition and a source of this chip."""
    conditions = dict.fromkeys(condition.name for condition in chip.conditions)
    sources = dict.fromkeys(source.id for source in chip.sources)
    for at, expectation in all_expectations(chip):
        if expectation.condition not in conditions:
            yield _unknown((*at, "condition"), "condition", expectation.condition, [*conditions])
        if expectation.source.id not in sources:
            yield _unknown((*at, "source", "id"), "source", expectation.source.id, [*sources])
        place = int(at[-1])
        if place and expectation.condition in [e.condition for e in _beside(chip, at)[:place]]:
            told = f"found condition {expectation.condition!r} twice, expected it once at a point"
            yield Finding("references-exist", (*at, "condition"), told)


def _unknown(at: Place, what: str, name: str, known: list[str]) -> Finding:
    told = f"found {what} {name!r}, expected one of {', '.join(known)}"
    return Finding("references-exist", at, told, nearest_word(name, known))


def ends_exist(chip: Chip) -> Iterator[Finding]:
    """Blocks, parts, hazards and symptoms name pins, blocks and nodes that there are."""
    pins = [f"pin {pin.number}" for pin in chip.pins]
    blocks = [block.id for block in chip.blocks]
    points = [*pins, *(node.id for node in chip.application.nodes), "ground"]
    for at, end in _block_ends(chip):
        yield from _known(at, end, [*pins, *blocks], "a pin or a block")
    for index, part in enumerate(chip.application.parts):
        for place, end in enumerate(part.joins):
            at = ("application", "parts", index, "joins", place)
            yield from _known(at, end, points, "a pin, a node or ground")
    for index, hazard in enumerate(chip.hazards):
        if hazard.at is not None:
            yield from _known(("hazards", index, "at"), hazard.at, points, "a pin or a node")
    for index, symptom in enumerate(chip.symptoms):
        for place, sign in enumerate(symptom.observed):
            at = ("symptoms", index, "observed", place, "at")
            yield from _known(at, sign.at, points[:-1], "a pin or a node")


def supply_and_ground(chip: Chip) -> Iterator[Finding]:
    """Supplies enter at supply pins, every supply pin belongs to a supply, and a ground exists.

    A chip between a positive and a negative supply can do without a ground pin.
    """
    roles = {pin.number: pin.role for pin in chip.pins}
    fed: set[int] = set()
    for index, supply in enumerate(chip.supplies):
        if not supply.pins:
            told = f"found no pins under {supply.name}, expected the pins it enters at"
            yield Finding("supply-and-ground", ("supplies", index, "pins"), told)
        for place, number in enumerate(supply.pins):
            fed.add(number)
            if roles.get(number) != "supply":
                found = f"pin {number} with role {roles.get(number, 'none, for it is not there')}"
                told = f"found supply {supply.name} at {found}, expected a pin with role supply"
                yield Finding("supply-and-ground", ("supplies", index, "pins", place), told)
    for index, pin in enumerate(chip.pins):
        if pin.role == "supply" and pin.number not in fed:
            told = f"found supply pin {pin.number} in no supply, expected it under supplies"
            yield Finding("supply-and-ground", ("pins", index, "role"), told)
    lowest_v, highest_v = supply_range_v(chip)
    if "ground" not in roles.values() and not lowest_v < 0 < highest_v:
        told = "found no ground pin, expected at least one pin with role ground"
        yield Finding("supply-and-ground", ("pins",), told)


def dc_possible(chip: Chip) -> Iterator[Finding]:
    """DC lies between ground and the highest supply, and within the pin's absolute maximum.

    ``beyond_supply`` excuses it from the supply, never from the absolute maximum.
    """
    range_v = supply_range_v(chip)
    for at, pin, expectation in pin_expectations(chip):
        if expectation.dc is not None:
            span_v = (expectation.dc.nominal,) * 2
            for told in _impossible(range_v, pin, expectation, span_v, "DC"):
                yield Finding("dc-possible", (*at, "dc"), told)


def waveform_possible(chip: Chip) -> Iterator[Finding]:
    """The waveform, where it sits on its DC, keeps to the same limits as DC.

    A floating waveform without DC is only held to fit in between: its place is not known.
    """
    range_v = supply_range_v(chip)
    for at, pin, expectation in pin_expectations(chip):
        if expectation.waveform is None:
            continue
        known, offset_v = expectation.waveform.figures, expectation.offset_v
        span_v = (known.low_v + offset_v, known.high_v + offset_v)
        if expectation.waveform.floats and expectation.dc is None:
            span_v = (range_v[0], range_v[0] + known.vpp_v)
        for told in _impossible(range_v, pin, expectation, span_v, "a peak"):
            yield Finding("waveform-possible", (*at, "waveform"), told)


def waveform_on_dc(chip: Chip) -> Iterator[Finding]:
    """A waveform given in volts to ground has the mean that a meter reads as the pin's DC."""
    for at, expectation in all_expectations(chip):
        waveform = expectation.waveform
        limits = None if waveform is None or waveform.floats else expectation.dc_limits_v()
        if waveform is None or limits is None:
            continue
        known = waveform.figures
        slack = max(0.1 * known.vpp_v, _SLACK_V)
        if not limits[0] - slack <= known.mean_v <= limits[1] + slack:
            mean = print_value(known.mean_v, "V")
            told = f"found DC {expectation.dc}, expected the waveform's mean, {mean}"
            yield Finding("waveform-on-dc", (*at, "dc"), told, mean)


def crystal_fits(chip: Chip) -> Iterator[Finding]:
    """A crystal runs at a multiple of the systems' subcarrier or line rate, or says why not."""
    usual = _usual_crystals_hz(chip)
    for index, part in enumerate(chip.application.parts):
        quantity = part.quantity
        if (
            part.kind not in ("crystal", "ceramic resonator")
            or part.why
            or not (quantity and usual)
        ):
            continue
        nearest = min(usual, key=lambda hz: abs(hz - quantity.nominal))
        off = abs(quantity.nominal / nearest - 1)
        if off > _allowed(chip, part):
            best = print_value(nearest if off < _SAME_CRYSTAL else usual[0], "Hz", 7)
            expected = f"{best} for {', '.join(chip.systems)}, or why it differs under 'why'"
            told = f"found a {part.kind} of {part.value}, expected {expected}"
            at = ("application", "parts", index, "value")
            yield Finding("crystal-fits", at, told, best if off < _SAME_CRYSTAL else None)


def relations_elsewhere(chip: Chip) -> Iterator[Finding]:
    """``replaces`` and ``similar`` name other chips."""
    for key, relations in (("replaces", chip.replaces), ("similar", chip.similar)):
        for index, relation in enumerate(relations):
            if part_key(relation.part) == part_key(chip.part):
                told = f"found {relation.part} under its own {key}, expected another chip"
                yield Finding("relations-elsewhere", (key, index, "part"), told)


RULES: tuple[Rule, ...] = (
    pins_complete,
    symbols_once,
    names_once,
    references_exist,
    ends_exist,
    supply_and_ground,
    dc_possible,
    waveform_possible,
    waveform_on_dc,
    crystal_fits,
    relations_elsewhere,
)


def pin_expectations(chip: Chip) -> Iterator[tuple[Place, Pin, Expectation]]:
    """What every pin should show, each with its place in the chip."""
    for index, pin in enumerate(chip.pins):
        for place, expectation in enumerate(pin.expectations):
            yield ("pins", index, "expectations", place), pin, expectation


def all_expectations(chip: Chip) -> Iterator[tuple[Place, Expectation]]:
    """What every pin and node should show, each with its place in the chip."""
    for index, pin in enumerate(chip.pins):
        for place, expectation in enumerate(pin.expectations):
            yield ("pins", index, "expectations", place), expectation
    for index, node in enumerate(chip.application.nodes):
        for place, expectation in enumerate(node.expectations):
            yield ("application", "nodes", index, "expectations", place), expectation


def _beside(chip: Chip, at: Place) -> tuple[Expectation, ...]:
    """All expectations of the point that one of them, at ``at``, belongs to."""
    if at[0] == "pins":
        return chip.pins[int(at[1])].expectations
    return chip.application.nodes[int(at[2])].expectations


def _block_ends(chip: Chip) -> Iterator[tuple[Place, str]]:
    for index, block in enumerate(chip.blocks):
        ends = {"inputs": block.inputs, "outputs": block.outputs, "needs": block.needs}
        for key, names in ends.items():
            for place, name in enumerate(names):
                yield ("blocks", index, key, place), name


def _known(at: Place, end: str, known: list[str], what: str) -> Iterator[Finding]:
    if end not in known:
        number = pin_number(end)
        near = None if number is not None else nearest_word(end, known)
        pins = sum(name.startswith("pin ") for name in known)
        hint = f" (there are pins 1 to {pins})" if number is not None else ""
        yield Finding("ends-exist", at, f"found {end!r}, expected {what} there is{hint}", near)


def supply_range_v(chip: Chip) -> tuple[float, float]:
    """Ground, or the lowest negative supply, to the highest supply, tolerances included."""
    ends = [volts for supply in chip.supplies for volts in supply.voltage.limits(0)]
    return min(0.0, *ends), max(0.0, *ends)


def _impossible(
    range_v: Span, pin: Pin, expectation: Expectation, span_v: Span, what: str
) -> list[str]:
    """What is said of volts, lowest and highest, that the supplies or the pin do not allow."""
    bottom_v, top_v = range_v
    slack_v = _SLACK_V + _SLACK_SHARE * (top_v - bottom_v)
    told = []
    beyond = _outside(span_v, (bottom_v - slack_v, top_v + slack_v))
    if beyond is not None and expectation.beyond_supply is None:
        supply = f"{print_value(bottom_v, 'V')} to the supply's {print_value(top_v, 'V')}"
        found = f"found {what} of {print_value(beyond, 'V')}"
        told.append(f"{found}, expected {supply}, or the reason under 'beyond_supply'")
    if pin.absolute_maximum is None:
        return told
    beyond = _outside(span_v, _absolute_limits_v(pin.absolute_maximum))
    if beyond is not None:
        expected = f"no more than the absolute maximum of {pin.absolute_maximum}"
        told.append(f"found {what} of {print_value(beyond, 'V')}, expected {expected}")
    return told


def _outside(span_v: Span, limits_v: Span) -> float | None:
    """The end of the span that lies beyond the limits, if one does."""
    if span_v[1] > limits_v[1]:
        return span_v[1]
    return span_v[0] if span_v[0] < limits_v[0] else None


def _absolute_limits_v(maximum: Quantity) -> Span:
    """``9 V`` limits upwards, ``-16 V`` downwards, ``-0.3 V .. 9 V`` both ways."""
    low_v, high_v = maximum.limits(0)
    return low_v if low_v < 0 else -math.inf, high_v if high_v > 0 else math.inf


def _usual_crystals_hz(chip: Chip) -> list[float]:
    """Once, twice and four times each subcarrier; 32 and 64 times each line rate; the sound."""
    scannings = [SCANNING[system] for system in chip.systems]
    usual = [float(hz) * times for s in scannings for hz in s.subcarrier_hz for times in (1, 2, 4)]
    usual += [float(s.line_hz) * times for s in scannings for times in (32, 64)]
    return usual + [float(s.intercarrier_hz) for s in scannings]


def _allowed(chip: Chip, part: Part) -> float:
    """How far off a crystal or resonator may be, as a share of its frequency."""
    if part.kind == "ceramic resonator":
        return _RESONATOR_OFF
    pull_in = chip.application.pull_in
    quantity = part.quantity
    if pull_in is None or quantity is None:
        return _CRYSTAL_OFF
    return max(_CRYSTAL_OFF, pull_in.nominal / quantity.nominal)
