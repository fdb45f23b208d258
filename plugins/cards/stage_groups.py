"""The part of the set that a stage serves, read off its name: picture, colour, sync and line, ...

Words of the trade; a stage whose name tells nothing serves the same part as most of its neighbours.
"""

from __future__ import annotations

import re
from collections import Counter
from typing import Final

from ...schema import Block, Chip, Pin
from ...schema.model import pin_number
from ..drawing.block_layout import find_home_stages, find_signals_between

# The first line with a word in the name decides.
_WORDS: Final = {
    "Sound": r"sound|audio|volume|tone|bass|treble|mut(e|ing)|loudspeaker",
    "Tuning and IF": r"IF|vision|tun(er|ing)|AGC|AFT|station|search",
    "Field": r"field|vertical|ramp|east-west|frame|yoke|flyback booster",
    "Picture": r"luminance|luma|RGB|video|black|contrast|brightness|beam|cut-off|white|matrix|red"
    r"|green|blue|text|peaking",
    "Colour": r"chroma|colour|color|subcarrier|burst|ACC|APC|PAL|SECAM|NTSC|ident|demodulat\w*"
    r"|killer|delay line|hue|tint",
    "Sync and line": r"sync|line|horizontal|coincidence|sandcastle|AFC|X-ray|key",
    "Supply and bus": r"bus|reference|supply|regulator|protection|power|standby",
}
OTHER: Final = "Other stages"
GROUPS: Final = (
    "Picture",
    "Colour",
    "Sync and line",
    "Field",
    "Sound",
    "Tuning and IF",
    "Supply and bus",
    OTHER,
)
"""All groups, in the order of a page."""

_PATTERNS: Final = {
    group: re.compile(rf"\b({words})\b", re.IGNORECASE) for group, words in _WORDS.items()
}


def group_stages(chip: Chip) -> dict[str, str]:
    """Return the group of each stage, by its id."""
    group_of = {block.id: _read_group(block) for block in chip.blocks}
    fed_by_stage = find_signals_between(chip)
    for block in chip.blocks:
        if group_of[block.id] != OTHER:
            continue
        sources = [name for name, fed in fed_by_stage.items() if block.id in fed]
        neighbour_groups = Counter(
            group_of[name]
            for name in (*fed_by_stage[block.id], *sources)
            if group_of[name] != OTHER
        )
        for group, _ in neighbour_groups.most_common(1):
            group_of[block.id] = group
    return group_of


def group_pins(chip: Chip) -> dict[int, str]:
    """Return the group of each pin: that of the stage it is drawn beside, else of a stage it is on.

    A supply or ground serves all of the chip.
    """
    group_of_stage, home_of = group_stages(chip), find_home_stages(chip)
    # Of several stages on a pin the first in the chip file counts.
    group_at = {
        number: group_of_stage[block.id]
        for block in reversed(chip.blocks)
        for end in (*block.inputs, *block.outputs, *block.needs)
        if (number := pin_number(end)) is not None
    }

    def choose_group(pin: Pin) -> str:
        if pin.role in ("supply", "ground"):
            return "Supply and bus"
        if pin.number in home_of:
            return group_of_stage[home_of[pin.number]]
        return group_at.get(pin.number, OTHER)

    return {pin.number: choose_group(pin) for pin in chip.pins}


def _read_group(block: Block) -> str:
    return next((g for g, pattern in _PATTERNS.items() if pattern.search(block.name)), OTHER)
