"""The PZK3128's board as ngspice solves it.

A pin is a source of its own, chosen as the chip's designer would: the board makes its volts, and
the sheet's are these rounded. All figures are common practice for a 12 V IF chip.
"""

from __future__ import annotations

from boards.circuit import Drive, Electrics, Inside, Outside

from practice.filters import if_filter, sound_filter, sound_trap
from practice.stated import read_stated_chip

PART = "PZK3128"
CHIP = read_stated_chip(PART)
IF_V, AUDIO_V, IF_GND, AUDIO_GND = "pin 13", "pin 25", "pin 7", "pin 26"
CARRIER_HZ, SOUND_HZ, VIDEO_HZ, TONE_HZ = 38.9e6, 5.5e6, 1e6, 1e3
SPEAKER_OHM, FEEDBACK_OHM = 8.0, 12e3
AUDIO_A = 0.105  # drawn by the sound output for the tone of a good set: peak / (pi R)


def _if_pin(ohms: float, **limits: float) -> Inside:
    return Inside(ohms, IF_V, ground=IF_GND, **limits)


_INSIDES = {
    "pin 1": _if_pin(1.5e3),
    "pin 2": _if_pin(1.5e3),
    "pin 3": _if_pin(12e3),
    "pin 4": _if_pin(20e3, source_a=50e-6, sink_a=5e-6),  # the peak detector's charge
    "pin 5": _if_pin(50e3),
    "pin 6": Inside(100e3, IF_V, ground=IF_GND, open_collector=True),  # a controlled sink
    "pin 8": _if_pin(200e3),
    "pin 9": _if_pin(2.5e3),
    "pin 10": _if_pin(2.5e3),
    "pin 11": _if_pin(2.2e3),
    "pin 12": _if_pin(2.2e3),
    "pin 14": _if_pin(60, source_a=12e-3, sink_a=1e-3),
    "pin 15": _if_pin(700),
    "pin 16": _if_pin(15e3),
    "pin 17": _if_pin(12e3),
    "pin 18": _if_pin(5e3),
    "pin 19": _if_pin(150e3),
    "pin 20": _if_pin(400, source_a=4e-3, sink_a=0.5e-3),
    "pin 21": Inside(2e6, AUDIO_V, ground=AUDIO_GND),  # base current of a pnp input
    "pin 22": Inside(FEEDBACK_OHM, AUDIO_V, ground=AUDIO_GND),
    "pin 23": Inside(2.6e3, ground=AUDIO_GND),  # the driver's current, no way to the supply
    "pin 24": Inside(0.3, AUDIO_V, "pin 27", AUDIO_GND, source_a=1.6, sink_a=1.6),
    "pin 27": Inside(8e3, follows=AUDIO_V, ground=AUDIO_GND),
    "pin 28": _if_pin(8, source_a=14e-3, sink_a=1e-3),
}
_OWN_V = {
    "pin 1": 4.3,
    "pin 2": 4.3,
    "pin 3": 4.1,
    "pin 4": 3.6,
    "pin 5": 3.3,
    "pin 6": -17.5,  # behind 100 kΩ: a sink of a quarter of a milliampere
    "pin 8": 6.2,
    "pin 9": 8.4,
    "pin 10": 8.4,
    "pin 11": 7.7,
    "pin 12": 7.7,
    "pin 14": 3.65,
    "pin 15": 2.15,
    "pin 16": 2.15,
    "pin 17": 6.05,
    "pin 18": 5.2,
    "pin 19": 3.0,
    "pin 20": 3.85,
    "pin 21": 0.7,
    "pin 22": 0.68,
    "pin 23": 0.0,
    "pin 24": 8.7,
    "pin 27": 8.6,
    "pin 28": 5.95,
}
_OUTSIDES = {
    "rail-17v": Outside(17.9, 2.2),  # a winding with its rectifier: it sags with the load
    "tuner-if": Outside(0, 75),
    "speaker": Outside(0, SPEAKER_OHM),
}

ELECTRICS = Electrics(
    chip=CHIP,
    insides=_INSIDES,
    outsides=_OUTSIDES,
    supply_grounds={IF_V: IF_GND, AUDIO_V: AUDIO_GND},
    transistors={"Q101": "npn", "Q102": "npn"},
    coil_ohms={"L101": 0.1, "L102": 0.1, "L103": 0.8},
    off_ohms={"speaker": 7.0, "tuner-if": 75.0},
    special_parts={"F101": if_filter, "F102": sound_trap, "F103": sound_filter},
)
DRIVE = Drive(_OWN_V, {IF_V: 0.055, AUDIO_V: 0.030})
RUNS = {
    "if": (CARRIER_HZ, {"tuner-if": 1.0}),
    "video": (VIDEO_HZ, {"pin 14": 1.0}),
    "intercarrier": (SOUND_HZ, {"pin 14": 1.0}),
    "de-emphasis": (TONE_HZ, {"pin 18": 1.0}),
    "audio": (TONE_HZ, {"pin 20": 1.0}),
    "power": (TONE_HZ, {"pin 24": 1.0}),
}
TRUE_V = {  # of a good set, where the sheet's figure is rounded
    "pin 1": 8.6e-3,
    "pin 2": 8.6e-3,
    "pin 9": 0.27,
    "pin 10": 0.27,
    "pin 11": 0.55,
    "pin 12": 0.55,
    "pin 14": 2.35,
    "video-line": 2.28,
    "pin 15": 0.042,
    "pin 17": 0.33,
    "pin 18": 0.56,
    "pin 20": 0.33,
    "pin 21": 0.053,
    "pin 22": 0.053,
    "pin 23": 5.1,
    "pin 24": 5.2,
    "speaker": 5.1,
}


def draw_audio(share: float) -> tuple[str]:
    """Return the current of the sound output for a share of a good set's tone."""
    drawn = f"{AUDIO_A * share:g}*tanh(max(v(n_pin_25)-v(n_pin_26),0)/3)"
    return (f"BAUDIO n_pin_25 n_pin_26 I={drawn}",)
