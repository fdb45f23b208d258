"""The state of every pin and stage of a chip in a job: proved good, bad, suspect, or not known yet.

Each state is told by a sign and by a word.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from ....schema import Block, Chip
from ....schema.model import pin_number
from ...readings.verdict import CANNOT_TELL, PinVerdict
from .job import Job
from .suspects import Suspect, name_suspect

_SUSPECT: Final = 0.05  # probability from which on a suspect is shown on the drawings
_EVERYWHERE: Final = ("supply", "ground")  # a part on a supply makes no single stage suspect


@dataclass(frozen=True)
class State:
    """One state."""

    sign: str
    """One letter; empty for what is not known."""
    word: str

    @property
    def mark(self) -> tuple[str, str]:
        """As the drawings take it."""
        return self.sign, self.word


PROVED_GOOD: Final = State("✓", "proved good")
BAD: Final = State("✗", "bad")
SUSPECT: Final = State("?", "suspect")
UNKNOWN: Final = State("", "unknown")


@dataclass(frozen=True)
class States:
    """The states of a chip's pins, by number, and of its stages, by id."""

    pins: dict[int, State]
    blocks: dict[str, State]

    @property
    def package_marks(self) -> dict[int, tuple[str, str]]:
        """As the package drawing takes them."""
        return {number: state.mark for number, state in self.pins.items()}

    @property
    def block_marks(self) -> dict[str, tuple[str, str]]:
        """As the block diagram takes them."""
        pins = {f"pin {number}": state.mark for number, state in self.pins.items()}
        return pins | {name: state.mark for name, state in self.blocks.items()}


def judge_states(job: Job) -> States:
    """Return every pin and stage with its state.

    Readings come first: a pin is good or bad as it read, a stage as its output read. Without a
    reading it is suspect when it, or a part on its pins, is among the suspects.
    """
    chip = job.chip
    read_states = _read(job.judged)
    likely = [suspect for suspect in job.suspects if suspect.probability >= _SUSPECT]
    doubted_pins = _list_doubted_pins(chip, likely)
    doubted_stages = {s.hypothesis.what for s in likely if s.hypothesis.kind == "stage"}
    # Every stage is on a supply and a ground: a doubted one accuses none of them.
    common_pins = {pin.number for pin in chip.pins if pin.role in _EVERYWHERE}
    telling_pins = doubted_pins - common_pins
    pin_states = {
        pin.number: read_states.get(pin.number) or _choose_doubted_state(pin.number in doubted_pins)
        for pin in chip.pins
    }
    block_states = {}
    for block in chip.blocks:
        is_doubted = block.id in doubted_stages or bool(_list_pins(block) & telling_pins)
        read_state = _put_out(block, read_states)
        block_states[block.id] = read_state or _choose_doubted_state(is_doubted)
    return States(pin_states, block_states)


def _choose_doubted_state(doubted: bool) -> State:
    return SUSPECT if doubted else UNKNOWN


def _read(judged: Iterable[PinVerdict]) -> dict[int, State]:
    """Good or bad for each pin that was read; of several readings one that is bad decides."""
    pin_states: dict[int, State] = {}
    for one in judged:
        number = one.pin.number  # 0 is a point that is not a pin
        if number and one.verdict != CANNOT_TELL and pin_states.get(number) != BAD:
            pin_states[number] = PROVED_GOOD if one.is_right else BAD
    return pin_states


def _put_out(block: Block, read: dict[int, State]) -> State | None:
    """Good or bad as its outputs read; None when none was read."""
    outputs = [read[n] for end in block.outputs if (n := pin_number(end)) is not None and n in read]
    if not outputs:
        return None
    return BAD if BAD in outputs else PROVED_GOOD


def _list_doubted_pins(chip: Chip, suspects: Iterable[Suspect]) -> set[int]:
    """Return the pins that a suspect part joins or a suspect supply enters at."""
    ends: set[str] = set()
    parts = {part.ref: part.joins for part in chip.application.parts}
    supplies = {supply.name: supply.pins for supply in chip.supplies}
    for suspect in suspects:
        hypothesis = suspect.hypothesis
        if hypothesis.kind == "part":
            ends.update(parts[hypothesis.what])
        elif hypothesis.kind == "joint":
            ends.add(name_suspect(hypothesis))
        elif hypothesis.kind == "supply":
            ends.update(f"pin {number}" for number in supplies[hypothesis.what])
    return {number for end in ends if (number := pin_number(end)) is not None}


def _list_pins(block: Block) -> set[int]:
    every = (*block.inputs, *block.outputs, *block.needs)
    return {number for end in every if (number := pin_number(end)) is not None}
