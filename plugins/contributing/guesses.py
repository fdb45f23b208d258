"""Guesses of fault finding about a chip, in place of facts its file does not state.

All of it may be left out of a chip file: it is guessed from names, words, blocks and the drawing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from ...schema import Block, Chip, Pin, print_value
from ...schema.chips.usual_faults import describe_endpoint
from ...schema.model import pin_number

if TYPE_CHECKING:
    from ..diagnosis.board.topology import Topology

GUESSED_FROM: Final = {
    "kind": "the names of the stages",
    "gated_by": "the names of their inputs",
    "lock_range": "the part it swings on",
    "supply": "the stages at the pin",
    "threshold": "the function of the pin",
    "output_limits": "ground and the supply",
    "made_by": "the names of the nodes",
}
"""Keys of a chip file that are guessed where they are left out, and from which words or values."""
_STEERED: Final = ("filter", "control", "input")
_HAS_NO_SUPPLY: Final = ("supply", "ground", "unused")
_BY_HAND: Final = "half way between its states"


@dataclass(frozen=True)
class Guess:
    """One statement that a chip file leaves out, and the guess taken instead."""

    key: str
    at: str
    """The stage, pin or node, as it is called."""
    taken: str


def list_guesses(chip: Chip) -> tuple[Guess, ...]:
    """Return all that fault finding guesses of a chip, by key and in the order of the file."""
    from ..diagnosis.board.topology import Topology  # takes long to import
    from ..diagnosis.weighing.known_board import find_working_condition

    if not chip.blocks:
        return ()
    topology = Topology(chip, find_working_condition(chip))
    guesses = [
        *(guess for block in chip.blocks for guess in _guess_of_a_stage(topology, block)),
        *(guess for pin in chip.pins for guess in _guess_of_a_pin(topology, pin)),
        *_guess_makers(topology),
    ]
    return tuple(sorted(guesses, key=lambda guess: [*GUESSED_FROM].index(guess.key)))


def _guess_of_a_stage(topology: Topology, block: Block) -> Iterator[Guess]:
    """Yield the guesses of a stage's kind, its key pulse and its lock range."""
    from ..diagnosis.board.kinds import find_kind, guess_kind, speaks_of_keys

    if block.kind is None:
        yield Guess("kind", block.id, guess_kind(block))
    name_of = {
        end: topology.pin_at[end].function if end in topology.pin_at else end
        for end in block.inputs
    }
    key_ends = [end for end, name in name_of.items() if speaks_of_keys(name)]
    # An input that is all there is to work on is no key, whatever it is called.
    has_other_inputs = len(key_ends) < len(block.inputs)
    if key_ends and has_other_inputs and not block.gated_by:
        yield Guess("gated_by", block.id, ", ".join(key_ends))
    is_oscillator = find_kind(block) == "oscillator"
    if is_oscillator and block.lock_range is None and _is_steered(topology, block):
        yield Guess("lock_range", block.id, _describe_reach(topology, block))


def _is_steered(topology: Topology, block: Block) -> bool:
    """Return whether a phase detector steers a stage, itself or through the pin of its filter."""
    from ..diagnosis.board.kinds import find_kind

    return any(
        find_kind(other) == "phase detector" and {block.id, *block.inputs} & {*other.outputs}
        for other in topology.chip.blocks
    )


def _describe_reach(topology: Topology, block: Block) -> str:
    from ..diagnosis.board.senders import find_resonator

    pull_in = topology.chip.application.pull_in
    pins = [end for end in (*block.needs, *block.inputs) if end in topology.pin_at]
    near = next((ref for pin in pins if (ref := find_resonator(topology, pin))), None)
    parts = {part.ref: part.kind for part in topology.chip.application.parts}
    if near is not None and parts[near] == "crystal" and pull_in is not None:
        return f"{pull_in}, as its crystal is pulled in"
    return f"usual for {near}" if near is not None else "usual for resistor and capacitor"


def _guess_of_a_pin(topology: Topology, pin: Pin) -> Iterator[Guess]:
    """Yield the guesses of a pin's supply, its threshold and its output limits."""
    from ..diagnosis.board.kinds import parse_threshold

    end = f"pin {pin.number}"
    title = describe_endpoint(topology.chip, end)
    # With one supply there is nothing to guess, nor where all stages at the pin agree on theirs.
    supply_numbers = {number for supply in topology.chip.supplies for number in supply.pins}
    if pin.role not in _HAS_NO_SUPPLY and pin.supply is None and len(supply_numbers) > 1:
        guessed_supply = topology.supply_of[end]
        if _find_stage_supplies(topology, end) != {guessed_supply}:
            yield Guess("supply", title, guessed_supply)
    if pin.role in _STEERED and pin.threshold is None:
        worded_threshold = parse_threshold(pin)
        if worded_threshold is not None:
            _, threshold_v = worded_threshold
            yield Guess("threshold", title, print_value(threshold_v, "V"))
        elif _switches(topology, end):
            yield Guess("threshold", title, _BY_HAND)
    # An open collector reaches as high as its pull-up resistor's supply.
    if pin.role == "output" and pin.output_limits is None and not topology.is_open_collector(end):
        high = print_value(topology.find_nominal_v(topology.supply_of[end]), "V")
        yield Guess("output_limits", title, f"0 V to {high}")


def _find_stage_supplies(topology: Topology, name: str) -> set[str]:
    """Return the supply pins that the stages naming a pin need."""
    ends = [end for block in topology.blocks_at.get(name, ()) for end in block.needs]
    return {e for e in ends if e in topology.pin_at and topology.pin_at[e].role == "supply"}


def _switches(topology: Topology, name: str) -> bool:
    """Return whether a pin is the store of a threshold detector, or trips a protection."""
    from ..diagnosis.board.kinds import find_kind

    role = topology.pin_at[name].role
    kinds = {find_kind(b): name in (*b.outputs, *b.needs) for b in topology.blocks_at.get(name, ())}
    is_store = role == "filter" and kinds.get("threshold detector", False)
    return is_store or (role != "filter" and "protection" in kinds)


def _guess_makers(topology: Topology) -> Iterator[Guess]:
    """Yield the nodes whose signal the set makes of an output of the chip, by their names."""
    from ..diagnosis.board.levels import find_outside_kinds
    from ..diagnosis.board.links import guess_makers

    stated = {node.id for node in topology.chip.application.nodes if node.made_by is not None}
    outside = [
        n for n, kind in find_outside_kinds(topology).items() if kind in ("outside", "drive")
    ]
    for node, pin in guess_makers(topology, outside).items():
        if node not in stated and pin_number(pin) is not None:
            made_by = describe_endpoint(topology.chip, pin)
            yield Guess("made_by", describe_endpoint(topology.chip, node), made_by)
