"""Feedback from an output to its own stage or an earlier one, through the parts outside.

With enough gain inside, the pin where it comes back hardly moves: the output swings as far, and
lies as high, as that takes. Where the drive meets it at the same pin,

    output = -drive * (the drive's share at the pin) / (the output's share at the pin).

Source: the inverting amplifier of any textbook on operational amplifiers, such as Horowitz and
Hill, The Art of Electronics, section 4.2.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from ..cloud import Seen
from ..kinds import ORDINARY, find_kind
from ..senders import FEEDBACK_WORDS
from ..signals import Signal, make_good_signal

if TYPE_CHECKING:
    from .....schema import Block
    from ..settling import Settled

Array = NDArray[Any]

_BETWEEN: Final = (ORDINARY, "output stage")
_FARTHEST: Final = 3  # stages back from the output
_LEAST_SLOPE: Final = 0.02  # of the output's volts at DC: less comes back by no loop
_LEAST_DRIVE: Final = 0.005  # volts for a volt
_LEAST_V: Final = 1e-3
_LEAST_SHOWN: Final = 0.05
_LEAST_FOOT: Final = 1e-3  # of the good foot's conductance: less is none
_USUAL_GAIN: Final = 40.0  # of a sound output stage: common practice
_MOST_GAIN: Final = 8.0  # relative to the good board's: an open loop


@dataclass(frozen=True)
class Loop:
    """A loop round the stages of an output."""

    pin: str
    """Where it comes back."""
    pins: tuple[str, ...]
    """All pins of the stage that it comes back to."""
    before: tuple[str, ...] = ()
    """The ids of that stage and of those between, where it is not the output stage itself."""


def find_loop(settled: Settled, block: Block) -> Loop | None:
    """Return the feedback loop round an output stage; None where nothing comes back.

    The feedback pin is one of the stage itself, else of a stage up to three before it.
    """
    own_pins = _list_pins_of(settled, block)
    for pin in own_pins:
        if _comes_back(settled, pin):
            return Loop(pin, own_pins)
    driven = next((end for end in block.outputs if end in settled.topology.pin_at), None)
    if driven is None:
        return None
    blocks = {one.id: one for one in settled.topology.chip.blocks}
    stage, earlier = block, tuple[str, ...]()
    for _ in range(_FARTHEST):
        inputs = [end for end in stage.inputs if end in blocks and end not in earlier]
        names = [name for name in inputs if find_kind(blocks[name]) in _BETWEEN]
        if not names:
            return None
        stage, earlier = blocks[names[0]], (*earlier, names[0])
        pins = _list_pins_of(settled, stage)
        for pin in pins:
            # A name alone is no loop: the drawn parts must bring the output back there.
            if _comes_back(settled, pin) and reaches(settled, driven, pin):
                return Loop(pin, pins, earlier)
    return None


def _list_pins_of(settled: Settled, block: Block) -> tuple[str, ...]:
    ends = dict.fromkeys((*block.outputs, *block.inputs, *block.needs))
    return tuple(end for end in ends if end in settled.topology.pin_at)


def _comes_back(settled: Settled, name: str) -> bool:
    pin = settled.topology.pin_at[name]
    return pin.role == "input" and bool(FEEDBACK_WORDS.search(pin.function))


def reaches(settled: Settled, driven: str, pin: str) -> bool:
    """Return whether the board brings the output's mean back."""
    if not settled.has_source(driven):
        return False
    return float(np.median(np.abs(compute_good_slope(settled, driven, pin)))) > _LEAST_SLOPE


def compute_good_slope(settled: Settled, driven: str, pin: str) -> Array:
    """Return how far a pin follows the voltage inside an output on good boards, at DC."""
    boards, index = settled.boards, settled.topology.index
    number = boards.source_number.get(driven)
    if number is None:
        return np.ones(boards.count)
    siemens = boards.good.sources[number].siemens
    slope = boards.impedance.matrix[:, index[pin], index[driven]] * siemens
    return np.asarray(np.where(np.abs(slope) < 1e-3, 1e-3, slope)[boards.draw_of])


def compute_foot_gain(settled: Settled, driven: str, pin: str) -> Array:
    """Return the gain beside the good board's where the feedback resistor is inside the chip.

    The parts from the pin to ground are the foot of the divider: the gain is 1 + inner / foot, and
    1 without a foot. The non-inverting amplifier, Horowitz and Hill, section 4.2.
    """
    expectations = settled.topology.expectations
    output, foot = (expectations.get(name) for name in (driven, pin))
    good_gain, hz = _USUAL_GAIN, 0.0
    if output is not None and output.waveform is not None:
        hz = float(output.waveform.amplitude_hz)
        if foot is not None and foot.waveform is not None:
            foot_v = max(foot.waveform.figures.vpp_v, _LEAST_V)
            good_gain = max(output.waveform.figures.vpp_v / foot_v, 1.0)
    foot_share = _compute_foot_share(settled, pin, hz)
    gain = 1 + (good_gain - 1) / np.maximum(foot_share, 1e-3)
    lifted = settled.boards.is_lifted[:, settled.topology.index[pin]]
    return np.minimum(np.where(lifted, 1.0, gain) / good_gain, _MOST_GAIN)


def _compute_foot_share(settled: Settled, pin: str, hz: float) -> Array:
    """Return the impedance of the parts at a pin, as a share of the good board's."""
    boards = settled.boards
    number = boards.source_number.get(pin)
    own_siemens = boards.good.sources[number].signal_siemens[boards.draw_of] if number else 0.0
    foot_siemens = 1 / settled.paths.compute_impedance_ohm(pin, hz) - own_siemens
    good_siemens = foot_siemens[: boards.draws][boards.draw_of]
    return np.asarray(good_siemens / np.maximum(foot_siemens, _LEAST_FOOT * good_siemens))


def find_meeting_drive(settled: Settled, loop: Loop, driven: str) -> str | None:
    """Return the outside node whose signal meets the feedback at its pin; None for no such."""
    paths = settled.paths
    outside = [s for s in paths.sources if s not in settled.topology.pin_at
               and s not in settled.loops]  # fmt: skip
    strength = {name: paths.find_gain_of_like(name, loop.pin, alike=driven) for name in outside}
    best = max(strength, key=lambda name: strength[name], default=None)
    return best if best is not None and strength[best] > _LEAST_DRIVE else None


def close_loop(settled: Settled, loop: Loop, drive: str, driven: str) -> Signal:
    """Return the output that the drive asks for, whatever is left of both where they meet."""
    paths = settled.paths
    lifted = settled.boards.is_lifted[:, settled.topology.index[loop.pin]]
    brought = np.where(lifted, 0.0, paths.solve_share(drive, loop.pin))
    back = np.where(lifted, 0.0, paths.solve_share(driven, loop.pin))
    sent = settled.sent.get(drive) or make_good_signal(settled.boards.count)
    return sent.amplify(brought / np.maximum(back, 1 / _MOST_GAIN))


def find_rest_signal(settled: Settled, loop: Loop, drive: str, held: Array) -> Signal:
    """Return the signal where drive and feedback meet.

    It is the catalogue's while the output follows (``held``), else the drive that nothing meets.
    """
    boards = settled.boards.count
    drive_signal = settled.sent.get(drive) or make_good_signal(boards)
    expectations = [settled.topology.expectations.get(name) for name in (drive, loop.pin)]
    stated = [e.waveform for e in expectations if e is not None and e.waveform is not None]
    if len(stated) < len(expectations):
        return drive_signal
    drive_vpp, rest_vpp = (waveform.figures.vpp_v for waveform in stated)
    gain = settled.paths.find_gain_of_like(drive, loop.pin, alike=drive)
    times_rest = gain * drive_vpp / max(rest_vpp, _LEAST_V)
    unmet = drive_signal.amplify(times_rest * settled.paths.solve_share(drive, loop.pin))
    # A drive that no feedback meets is seen at the input, and looks distorted there.
    unmet = unmet.add_seen(Seen.DISTORTED, unmet.level > _LEAST_SHOWN)
    return make_good_signal(boards).choose_where(held, unmet)
