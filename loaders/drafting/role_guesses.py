"""What the words for a pin suggest of it: its role, and the kind of waveform to be seen there.

Suggestions, to be looked over by whoever drafts the chip. Words are widened through the same
thesaurus as the search, so that "clock in", "bus clock input" and "SCL" all come to the same. Facts
of the trade, common practice.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Final

from ...schema.vocabulary import ROLES
from ..words.full_text_query import split_words
from ..words.thesaurus import load_thesaurus

# Pin types as data sheets abbreviate them in their column of types.
_TYPES: Final = {
    "i": "input", "in": "input", "o": "output", "out": "output", "p": "supply", "pwr": "supply",
    "s": "supply", "power": "supply", "g": "ground", "gnd": "ground", "nc": "unused",
    "n.c.": "unused", "osc": "oscillator",
}  # fmt: skip
# Where the thing named ends and its whereabouts begin: "ground of video" is no video.
_WHEREABOUTS: Final = (
    r"\b(?:of|to|from|for|with|after|ahead|between|on|by|via|at|balanced|tied|set|clamped)\b|[,;:(]"
)
# Roles by the words in the thing named; the first that fits counts.
_ROLE_WORDS: Final = (
    ("unused", ("not connected", "unused", "do not use", "leave open", "test input")),
    ("bus", ("serial clock", "serial data", "bus clock", "bus data")),
    ("control", ("control", "select", "fast blanking", "standby", "reset", "address", "preset",
                 "mode input",
                 "mute input", "average beam current limiter", "beam current limiter", "takeover")),
    ("output", ("output",)),
    ("decoupling", ("decoupling", "feedback of the limiter", "dc feedback")),
    ("input", ("input",)),
    ("oscillator", ("oscillator", "crystal", "ramp capacitor", "timing capacitor", "resonator")),
    ("filter", ("loop filter", "filter", "store", "storage", "integrator", "clamp capacitor",
                "time constant", "de-emphasis", "tuning", "network", "capacitor", "detector",
                "hold", "smoothing", "slicing level")),
    ("reference", ("reference", "bias")),
    ("ground", ("ground",)),
    ("supply", ("supply",)),
)  # fmt: skip
_SYMBOLS: Final = (
    ("ground", r"(A|D|P)?(GND|VSS|VEE)[A-Z]?\d*"),
    ("supply", r"(A|D)?(VCC|VDD|V\+|VP)[A-Z]?\d*"),
    ("unused", r"N\.?C\.?\d*"),
    ("bus", r"SDA|SCL"),
)
# Kinds of waveform by the words for the pin; the first that fits counts.
_WAVEFORM_WORDS: Final = (
    ("sandcastle", ("sandcastle",)),
    ("line pulse", ("burst gate pulse", "burst gate", "line flyback", "flyback pulse",
                    "clamp pulse", "line blanking")),
    ("field pulse", ("field sync", "field pulse", "vertical guard", "guard pulse")),
    ("composite sync", ("composite sync",)),
    ("colour difference", ("R-Y", "B-Y", "G-Y", "colour difference")),
    ("parabola", ("parabola",)),
    ("RGB bars", ("red output", "green output", "blue output", "red input", "green input",
                  "blue input", "rgb output", "rgb input")),
    ("composite video", ("composite video",)),
    ("chrominance", ("chrominance",)),
    ("luminance", ("luminance",)),
    ("sine", ("colour subcarrier", "colour oscillator", "line oscillator", "crystal",
              "ceramic resonator")),
    ("pulse", ("line output", "line drive", "head switching", "clock")),
    ("sawtooth", ("field output", "field drive", "vertical drive", "sawtooth", "ramp")),
)  # fmt: skip
_LONGEST: Final = 200  # letters of a text that are looked at
_SHOWS_SIGNAL: Final = frozenset({"input", "output", "oscillator", "bus"})


def suggested_role(symbol: str, function: str, said: str = "") -> str | None:
    """The role that a type column says, else the symbol, else the function; None if none does.

    >>> suggested_role("BGP", "burst gate pulse in")
    'input'
    """
    told = said.strip().lower()
    if told in ROLES:
        return told
    if told in _TYPES:
        return _TYPES[told]
    for role, sign in _SYMBOLS:
        if re.fullmatch(sign, re.sub(r"[ _]+", "", symbol).upper()):
            return role
    return _by_words(_thing(function)) or _by_words(symbol) or _by_words(function)


def suggested_waveform(symbol: str, function: str, role: str | None) -> str | None:
    """The kind of waveform that the words for a pin of this role suggest, if they do.

    >>> suggested_waveform("BGP", "burst gate pulse in", "input")
    'line pulse'
    """
    if role not in _SHOWS_SIGNAL:
        return None
    if role == "bus":
        return "bus activity"
    return _first_named(_thing(function), _WAVEFORM_WORDS) or _first_named(
        f"{symbol} {function}", _WAVEFORM_WORDS
    )


def _thing(function: str) -> str:
    """The function as far as it names the thing, less where that is and what it does."""
    return re.split(_WHEREABOUTS, function, maxsplit=1, flags=re.IGNORECASE)[0]


def _by_words(text: str) -> str | None:
    return _first_named(text, _ROLE_WORDS)


def _first_named(text: str, rules: tuple[tuple[str, tuple[str, ...]], ...]) -> str | None:
    """The first rule with a wording that the text has: as typed, else by the thesaurus."""
    typed, *others = _spellings(text)
    for spellings in ([typed], others):
        for told, wordings in rules:
            if any(_spoken(wording) in spelling for wording in wordings for spelling in spellings):
                return told
    return None


def _spellings(text: str) -> list[str]:
    """The text as it is, then with each known phrase of it given in its other wordings."""
    terms = load_thesaurus().expand(text[:_LONGEST])
    typed = [_spoken(term[0]) for term in terms]
    found = ["".join(typed)]
    for place, term in enumerate(terms):
        before, after = "".join(typed[:place]), "".join(typed[place + 1 :])
        found += [f"{before}{_spoken(other)}{after}" for other in term[1:]]
    return [spelling.replace("  ", " ") for spelling in found]


@lru_cache(maxsize=1000)  # the wordings are asked for at every pin
def _spoken(words: str) -> str:
    return f" {' '.join(split_words(words.lower()))} "
