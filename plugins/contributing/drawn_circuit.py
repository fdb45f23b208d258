"""Advice from solving the drawn circuit: where it cannot produce the stated figures.

This is the only advice that computes the circuit; the rest of the rule book reads the file.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

from ...schema import Chip, Finding, print_value
from ...schema.chips.places import Place
from ...schema.chips.usual_faults import describe_endpoint
from ...schema.model import pin_number

if TYPE_CHECKING:
    from ..diagnosis.board.drawn_board import Solved

CONTRADICTS: Final = "circuit-contradicts"
ROLLED_OFF: Final = "roll-off-forgotten"
_SET_OFF: Final = "off"
_OF_A_WAVEFORM: Final = ("vpp", "part of a signal")
_UNITS: Final = {"dc": "V", "vpp": "Vpp", "supply current": "A"}
_NAMES: Final = {"dc": "DC", "vpp": "signal", "supply current": "current of its feed"}


def find_contradictions(chip: Chip) -> Iterator[Finding]:
    """Yield advice on each point at which the drawn circuit contradicts a stated voltage, signal or
    current by more than the tolerances, once for all conditions."""
    from ..diagnosis.board.drawn_board import solve_board  # takes long to import

    if not chip.application.parts or not chip.pins:
        return
    reported: set[tuple[str, str]] = set()
    for condition in chip.conditions:
        if condition.name == _SET_OFF:
            continue
        for solved in solve_board(chip, condition.name):
            if not solved.contradicts or (solved.at, solved.quantity) in reported:
                continue
            # A value taken over from another state of the set is not this file's statement.
            if not _is_stated(chip, solved.at, condition.name, solved.quantity):
                continue
            reported.add((solved.at, solved.quantity))
            if solved.quantity == "part of a signal":
                yield _describe_rolled_off(chip, solved, condition.name)
            else:
                yield _describe_contradiction(chip, solved, condition.name)


def _describe_contradiction(chip: Chip, solved: Solved, condition: str) -> Finding:
    """Return advice on a stated value that the drawn circuit does not make."""
    unit = _UNITS[solved.quantity]
    makes, states = (print_value(value, unit, 3) for value in (solved.solved, solved.stated))
    return Finding(
        CONTRADICTS,
        _find_place(chip, solved.at, condition, solved.quantity),
        f"the drawn circuit contradicts the stated {_NAMES[solved.quantity]} at"
        f" {describe_endpoint(chip, solved.at)} in '{condition}': it makes {makes}, not {states}",
        "correct the value or the parts, or add the source that the drawing leaves out",
    )


def _describe_rolled_off(chip: Chip, solved: Solved, condition: str) -> Finding:
    """Return advice on a sine in a signal, such as the burst, that the drawn parts do not pass."""
    makes, states = (print_value(vpp, "Vpp", 2) for vpp in (solved.solved, solved.stated))
    place = _find_place(chip, solved.at, condition, "vpp")
    return Finding(
        ROLLED_OFF,
        (*place, "waveform") if "expectations" in place else place,
        f"{describe_endpoint(chip, solved.at)} states {states} at"
        f" {print_value(solved.frequency_hz, 'Hz', 7)} in '{condition}', of which the drawn parts"
        f" from {describe_endpoint(chip, solved.source)} leave {makes}",
        "state the burst that is left, or correct the parts",
        f"burst: {makes}" if solved.solved > 0 else None,
    )


def _is_stated(chip: Chip, at: str, condition: str, quantity: str) -> bool:
    """Return whether the chip file states the value in this very condition."""
    places = {f"pin {pin.number}": pin.expectations for pin in chip.pins}
    places |= {node.id: node.expectations for node in chip.application.nodes}
    return any(
        e.condition == condition
        and (e.waveform if quantity in _OF_A_WAVEFORM else e.dc) is not None
        for e in places.get(at, ())
    )


def _find_place(chip: Chip, at: str, condition: str, quantity: str) -> Place:
    """Return where the chip file states the value."""
    number = pin_number(at)
    if number is not None and quantity == "supply current":
        index = next(i for i, supply in enumerate(chip.supplies) if number in supply.pins)
        return "supplies", index
    if number is not None:
        index = next(i for i, pin in enumerate(chip.pins) if pin.number == number)
        place: Place = ("pins", index)
        expectations = chip.pins[index].expectations
    else:
        nodes = chip.application.nodes
        index = next(i for i, node in enumerate(nodes) if node.id == at)
        place, expectations = ("application", "nodes", index), nodes[index].expectations
    conditions = [expectation.condition for expectation in expectations]
    if condition not in conditions:
        return place
    return (*place, "expectations", conditions.index(condition))
