"""Rules on the list of pins."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import pairwise

from ..chips.data import ChipData, Pin
from ..vocabulary import SHARED_SYMBOL_ROLES
from .example import expect, write_pin
from .rule import Problem, chip_rule


@chip_rule(
    "pins-complete",
    title="Every pin of the package is listed once, in the order of the numbers.",
    why="Counting pins on the board must find every one of them, also the unused.",
    fix="Add the missing pin, remove the second of two, or correct `pins` under `package`.",
    bad=write_pin(5, expect("dc: 0 V")),
    good="package: {family: SIP, pins: 5}\n" + write_pin(5, expect("dc: 0 V")),
)
def check_pins_complete(chip: ChipData) -> Iterator[Problem]:
    """Yield each pin that is listed twice, out of range, missing, or out of order."""
    numbers = [pin.number for pin in chip.pins]
    count = chip.package.pins
    missing = [number for number in range(1, count + 1) if number not in numbers]
    renumbered = _find_misnumbered(numbers, missing)
    if renumbered is not None:
        index, number = renumbered
        problem = f"pin {numbers[index]} is listed twice and pin {number} is missing"
        yield Problem(("pins", index, "number"), problem, f"number this one {number}", str(number))
        return
    for number, times in Counter(numbers).items():
        if times > 1:
            # The later one is named: it may well be a copied line that was left unchanged.
            last_index = len(numbers) - 1 - numbers[::-1].index(number)
            place = ("pins", last_index, "number")
            yield Problem(place, f"pin {number} is listed twice", "remove one of the two")
        if not 1 <= number <= count:
            place = ("pins", numbers.index(number), "number")
            problem = f"pin {number} is not a pin of {chip.package.name}"
            yield Problem(place, problem, f"number the pins 1 to {count}")
    if missing:
        problem = f"pin {', '.join(map(str, missing))} is missing"
        remedy = f"list each of the {count} pins of {chip.package.name}"
        yield Problem(("pins",), problem, remedy)
    for index, (first, second) in enumerate(pairwise(numbers), start=1):
        if second < first:
            problem = f"pin {second} is listed after pin {first}"
            remedy = "list the pins in the order of their numbers"
            yield Problem(("pins", index, "number"), problem, remedy)


def _find_misnumbered(numbers: list[int], missing: list[int]) -> tuple[int, int] | None:
    """Return index and right number of the one pin that, renumbered, leaves no pin missing."""
    if len(missing) != 1:
        return None
    index = missing[0] - 1
    expected = [*numbers[:index], missing[0], *numbers[index + 1 :]]
    if index >= len(numbers) or expected != list(range(1, len(numbers) + 1)):
        return None
    return (index, missing[0]) if numbers.count(numbers[index]) > 1 else None


@chip_rule(
    "symbols-once",
    title="""No two pins have the same symbol, but for grounds, supplies and unused pins, as data
    sheets print them; case does not matter.""",
    why="A pin is asked for by its symbol; two signals with one symbol cannot be told apart.",
    fix="Give each pin the symbol that the data sheet has for it.",
    bad=write_pin(4, expect("dc: 4 V"), symbol="IN"),
    good=write_pin(4, expect("dc: 4 V"), symbol="OUT1"),
)
def check_symbols_once(chip: ChipData) -> Iterator[Problem]:
    """Yield each pin whose symbol an earlier pin has, unless the two do the same."""
    first_pin_with: dict[str, Pin] = {}
    for index, pin in enumerate(chip.pins):
        earlier = first_pin_with.setdefault(pin.symbol.upper(), pin)
        do_the_same = pin.role == earlier.role and pin.role in SHARED_SYMBOL_ROLES
        if earlier.number != pin.number and not do_the_same:
            problem = f"symbol {pin.symbol} is on pins {earlier.number} and {pin.number}"
            place = ("pins", index, "symbol")
            yield Problem(place, problem, "give each pin a symbol of its own")
