"""The DLT2426's board as ngspice solves it: pins as sources of their own, rail, loudspeakers.

The board makes the volts; the sheet's are these rounded. All figures are common practice.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from boards.circuit import Drive, Electrics, Inside, Outside
from practice.stated import read_stated_chip

PART: Final = "DLT2426"
CHIP: Final = read_stated_chip(PART)
SIGNAL_V, POWER_V, SIGNAL_GND, POWER_GND = "pin 21", "pin 17", "pin 10", "pin 16"
TONE_HZ, SPEAKER_OHM, FEEDBACK_OHM = 1e3, 8.0, 6.2e3
CHANNEL_A = 0.115  # drawn by one output stage for the tone of a good set: peak / (pi R)


@dataclass(frozen=True)
class Channel:
    """Pins and parts of one channel."""

    side: str
    input: str
    treble: str
    before: str
    power_input: str
    feedback: str
    output: str
    first: int
    """Number of its first part."""

    def resistor(self, number: int) -> str:
        """Return the reference of a resistor of this channel."""
        return f"R{self.first + number}"

    def capacitor(self, number: int) -> str:
        """Return the reference of a capacitor of this channel."""
        return f"C{self.first + number}"


LEFT: Final = Channel("left", "pin 1", "pin 5", "pin 11", "pin 20", "pin 19", "pin 18", 701)
RIGHT: Final = Channel("right", "pin 2", "pin 6", "pin 12", "pin 13", "pin 14", "pin 15", 751)
CHANNELS: Final = (LEFT, RIGHT)


def _signal(ohms: float, follows: str | None = None, **limits: float) -> Inside:
    return Inside(ohms, SIGNAL_V, follows, SIGNAL_GND, **limits)


_INSIDES: Final = {
    **{channel.input: _signal(30e3, "pin 8") for channel in CHANNELS},
    **{channel.treble: _signal(9e3, "pin 8") for channel in CHANNELS},
    **{c.before: _signal(250, "pin 8", source_a=5e-3, sink_a=1e-3) for c in CHANNELS},
    **{c.power_input: Inside(2e6, POWER_V, ground=POWER_GND) for c in CHANNELS},
    **{c.feedback: Inside(FEEDBACK_OHM, POWER_V, ground=POWER_GND) for c in CHANNELS},
    **{
        c.output: Inside(0.2, POWER_V, "pin 22", POWER_GND, source_a=2.0, sink_a=2.0)
        for c in CHANNELS
    },
    "pin 3": _signal(300e3),
    "pin 4": _signal(300e3),
    "pin 7": _signal(300e3),
    "pin 8": Inside(5e3, follows=SIGNAL_V, ground=SIGNAL_GND),
    "pin 9": _signal(1e6),
    "pin 22": Inside(10e3, follows=POWER_V, ground=POWER_GND),
    "pin 23": Inside(200e3, POWER_V, ground=POWER_GND),
}
_OWN_V: Final = {
    **dict.fromkeys(("pin 1", "pin 2", "pin 5", "pin 6"), 5.95),
    **dict.fromkeys(("pin 11", "pin 12"), 6.1),
    **dict.fromkeys(("pin 13", "pin 20"), 0.75),
    **dict.fromkeys(("pin 14", "pin 19"), 0.66),
    **dict.fromkeys(("pin 15", "pin 18"), 9.55),
    "pin 3": 3.4,
    "pin 4": 2.5,
    "pin 7": 2.5,
    "pin 8": 6.05,
    "pin 9": 0.0,
    "pin 22": 9.6,
    "pin 23": 0.0,
}
_OUTSIDES: Final = {
    "rail-20v": Outside(20.4, 1.6),  # it sags with the loudness
    "volume-line": Outside(2.55, 3.3e3),
    "balance-line": Outside(2.5, 3.3e3),
    "treble-line": Outside(2.5, 3.3e3),
    "mute-line": Outside(0.1, 1e3),
    "standby-line": Outside(5.05, 1e3),
    **{f"{c.side}-line": Outside(0, 600) for c in CHANNELS},
    **{f"{c.side}-speaker": Outside(0, SPEAKER_OHM) for c in CHANNELS},
}

ELECTRICS: Final = Electrics(
    chip=CHIP,
    insides=_INSIDES,
    outsides=_OUTSIDES,
    supply_grounds={SIGNAL_V: SIGNAL_GND, POWER_V: POWER_GND},
    off_ohms={f"{c.side}-speaker": 7.0 for c in CHANNELS},
)
DRIVE: Final = Drive(_OWN_V, {SIGNAL_V: 0.0215, POWER_V: 0.042})
RUNS: Final = {
    run: (TONE_HZ, {source: 1.0})
    for c in CHANNELS
    for run, source in (
        (f"{c.side} in", f"{c.side}-line"),
        (f"{c.side} treble", c.treble),
        (f"{c.side} between", c.before),
        (f"{c.side} out", c.output),
    )
}
TRUE_V: Final = {  # of a good set, where the sheet's figure is rounded
    **{f"{c.side}-line": 1.35 for c in CHANNELS},
    **{c.input: 1.24 for c in CHANNELS},
    **{c.before: 0.47 for c in CHANNELS},
    **{c.power_input: 0.060 for c in CHANNELS},
    **{c.feedback: 0.060 for c in CHANNELS},
    **{c.output: 5.5 for c in CHANNELS},
    **{f"{c.side}-speaker": 5.45 for c in CHANNELS},
}


def draw_sound(share: float) -> tuple[str]:
    """Return the current of both output stages for a share of a good set's tone."""
    drawn = f"{2 * CHANNEL_A * share:g}*tanh(max(v(n_pin_17)-v(n_pin_16),0)/3)"
    return (f"BSOUND n_pin_17 n_pin_16 I={drawn}",)
