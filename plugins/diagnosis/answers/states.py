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

_LEAST_PROBABILITY: Final = 0.05  # probability from which on a suspect is shown on the drawings
_ROLES_OF_COMMON_PINS: Final = ("supply", "ground")


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
    """Return every pin and stage with its state; unknown where neither reading nor suspect tells.

    Readings come first: a pin is good or bad as it read, a stage as its output read. Without a
    reading it is suspect when it, or a part on its pins, is among the suspects.
    """
    chip = job.chip
    states_read = _judge_pins_read(job.judged)
    suspects = [suspect for suspect in job.suspects if suspect.probability >= _LEAST_PROBABILITY]
    suspect_pins = _list_suspect_pins(chip, suspects)
    suspect_stages = {
        suspect.hypothesis.what for suspect in suspects if suspect.hypothesis.kind == "stage"
    }
    # Every stage is on a supply and a ground: a suspect part there makes no single stage suspect.
    common_pins = {pin.number for pin in chip.pins if pin.role in _ROLES_OF_COMMON_PINS}
    suspect_signal_pins = suspect_pins - common_pins
    pin_states = {
        pin.number: states_read.get(pin.number) or _choose_state(pin.number in suspect_pins)
        for pin in chip.pins
    }
    block_states = {}
    for block in chip.blocks:
        is_suspect = block.id in suspect_stages or bool(_list_pins(block) & suspect_signal_pins)
        state_read = _judge_outputs_read(block, states_read)
        block_states[block.id] = state_read or _choose_state(is_suspect)
    return States(pin_states, block_states)


def _choose_state(is_suspect: bool) -> State:
    """Return the state of a pin or stage without a reading."""
    return SUSPECT if is_suspect else UNKNOWN


def _judge_pins_read(verdicts: Iterable[PinVerdict]) -> dict[int, State]:
    """Return good or bad for each pin that was read; of several readings a bad one decides."""
    pin_states: dict[int, State] = {}
    for verdict in verdicts:
        number = verdict.pin.number  # 0 is a point that is not a pin
        if not number or verdict.verdict == CANNOT_TELL:
            continue
        if pin_states.get(number) != BAD:
            pin_states[number] = PROVED_GOOD if verdict.is_right else BAD
    return pin_states


def _judge_outputs_read(block: Block, states_read: dict[int, State]) -> State | None:
    """Return good or bad as a stage's outputs read; None when none was read."""
    pins = [pin_number(end) for end in block.outputs]
    states = [states_read[pin] for pin in pins if pin is not None and pin in states_read]
    if not states:
        return None
    return BAD if BAD in states else PROVED_GOOD


def _list_suspect_pins(chip: Chip, suspects: Iterable[Suspect]) -> set[int]:
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
    """Return the numbers of the pins that a stage joins; nodes that are no pins are left out."""
    ends = (*block.inputs, *block.outputs, *block.needs)
    return {number for end in ends if (number := pin_number(end)) is not None}
