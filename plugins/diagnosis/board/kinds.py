"""Kinds, thresholds and keys of stages: as the chip file states, else guessed from its words.

The trade's words, tried in this order; the first that fits is taken. One table, so that a guess
can be shown and argued with.
"""

from __future__ import annotations

import re
from typing import Final

from ....schema import Block, Pin

STAGE_KINDS: Final[tuple[tuple[str, str], ...]] = (
    ("protection", r"protection|x-ray|thermal cut-out"),
    ("bus receiver", r"bus receiver|bus interface"),
    ("gain-controlled amplifier", r"gain-controlled|clamp and agc|input agc|if amplifier"),
    ("level detector", r"\b(acc|agc)\b.*detector|cut-off sensing|cathode currents|tuner agc"),
    ("phase detector", r"phase detector|phase comparator|\bafc detector|\bapc\b"),
    ("threshold detector", r"killer detector|ident|coincidence|window comparator|dropout detector"
                           r"|noise detector|mute detector"),
    ("gate", r"\b(burst|noise) gate(?! former)|keyed"),
    ("pulse detector", r"sandcastle (level )?detector|clamp pulse|clamp keying|key detector"
                       r"|blanking$|flyback detector"),
    ("pulse generator", r"sandcastle generator|burst key generator|burst gate former|guard"),
    ("sync separator", r"(?<!field )(?<!field-)sync separator"),
    ("integrator", r"field sync|sync integrator|integrator"),
    ("pump", r"\bpump\b|flyback generator"),
    ("divider", r"divider(?!.*gain)"),
    ("oscillator", r"oscillator|\bvco\b|fm modulator"),
    ("ramp generator", r"ramp|parabola"),
    ("demodulator", r"demodulat|video detector|fm detector|discriminator|synchronous detector"),
    ("tuning detector", r"\baft\b|afc discriminator|tuning detector"),
    ("limiter", r"(?<!beam )limiter$|limiting amplifier"),
    ("clamp", r"\bclamps?\b(?!.*(flash|reference))"),
    ("switch", r"\bswitch\b(?!.*drive)"),
    ("mixer", r"matrix|adder|mixer|\bsum\b"),
    ("controlled amplifier", r"control|volume|contrast|brightness|balance|tone|shifter"),
    ("reference", r"reference|bias|supply filter"),
    ("output stage", r"output|driver|drive\b|drive "),
)  # fmt: skip
ORDINARY: Final = "amplifier"
KIND_NAMES: Final = (*(kind for kind, _ in STAGE_KINDS), ORDINARY)


def find_kind(block: Block) -> str:
    """Return the kind of a stage: as the chip file states it, else guessed."""
    return block.kind or guess_kind(block)


def guess_kind(block: Block) -> str:
    """Return the kind of stage that a block's name and id speak for.

    The words before a comma name the stage; those after it explain.
    """
    head = block.name.split(",")[0]
    for text in (head, block.name, block.id.replace("-", " ")):
        for kind, words in STAGE_KINDS:
            if re.search(words, text, re.IGNORECASE):
                return kind
    return ORDINARY


_THRESHOLD: Final = re.compile(
    r"(?P<which>below|above|under|over)\s+(?P<volts>-?[0-9.]+)\s*V", re.IGNORECASE
)
_KEYS: Final = re.compile(r"sandcastle|key|blanking|flyback|guard|pulse", re.IGNORECASE)


def parse_threshold(pin: Pin) -> tuple[str, float] | None:
    """Return ``above`` or ``below`` and the volts at which a pin switches something over.

    The volts are those stated, else those in the words of its function, which also tell the side;
    ``above`` where they do not. None where nothing tells a threshold.
    """
    told, stated = _THRESHOLD.search(pin.function), pin.threshold
    if told is None:
        return ("above", stated.nominal) if stated is not None else None
    side = "above" if told["which"].casefold() in ("above", "over") else "below"
    return side, stated.nominal if stated is not None else float(told["volts"])


def speaks_of_keys(words: str) -> bool:
    """Return whether the name of an input speaks of key or timing pulses."""
    return bool(_KEYS.search(words))


# What part of the set a stage or pin belongs to, as its name tells; several may fit.
CHANNELS: Final[dict[str, str]] = {
    "colour": r"chroma|colou?r|burst|subcarrier|\bacc\b|killer|\bapc\b|tint|\b[rb]-y\b|\bpal\b|hue",
    "luminance": r"luminance|peaking|(?<!-)\by\b|black.level|contrast|brightness|luma",
    "line": r"\bline\b(?! delay)|horizontal|flyback|\bh[- ](drive|out|osc)",
    "field": r"field|vertical|yoke|\bv[- ](drive|out|osc)",
    "sound": r"sound|audio|volume|loudspeaker|headphone|\bfm detector|de-emphasis|tone|subwoofer"
             r"|bass|treble|4\.5 mhz|5\.5 mhz",
    "vision": r"video|vision|\bif\b|\brgb\b|matrix|red|green|blue|picture",
}  # fmt: skip


_MOSTLY_COLOUR: Final = r"demodulat|quadrature|\bident\b"  # unless of vision or sound
_NOT_COLOUR: Final = r"synchronous|\bif\b|\bfm\b|\bmhz\b"


def find_channels(text: str) -> frozenset[str]:
    """Return the parts of the set that a name speaks of."""
    found = frozenset(
        name for name, words in CHANNELS.items() if re.search(words, text, re.IGNORECASE)
    )
    if re.search(_MOSTLY_COLOUR, text, re.IGNORECASE) and not found & {"vision", "sound"}:
        return found if re.search(_NOT_COLOUR, text, re.IGNORECASE) else found | {"colour"}
    return found
