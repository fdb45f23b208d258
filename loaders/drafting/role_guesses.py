"""Suggest a pin's role and kind of waveform from the words of its symbol and function.

Suggestions are marked for review in the draft. Words are expanded through the thesaurus of the
search, so "clock in", "bus clock input" and "SCL" give the same role. Common practice.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Final

from ...schema.vocabulary import ROLES
from ..words.full_text_query import split_words
from ..words.thesaurus import load_thesaurus
from .trade_words import find_role

# Pin types as data sheets abbreviate them in their column of types.
_TYPES: Final = {
    "i": "input", "in": "input", "o": "output", "out": "output", "p": "supply", "pwr": "supply",
    "s": "supply", "power": "supply", "g": "ground", "gnd": "ground", "nc": "unused",
    "n.c.": "unused", "osc": "oscillator",
}  # fmt: skip
# Words that end the subject of a function: "ground of video" is a ground, not video.
_END_OF_SUBJECT: Final = (
    r"\b(?:of|to|from|for|with|after|ahead|between|on|by|via|at|balanced|tied|set|clamped)\b|[,;:(]"
)
# Roles by the words of the subject; the first match counts.
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
# Kinds of waveform by the words for the pin; the first match counts.
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
_LONGEST_TEXT: Final = 200  # characters of a text that are used
_SHOWS_SIGNAL: Final = frozenset({"input", "output", "oscillator", "bus"})


def suggest_role(symbol: str, function: str, pin_type: str = "") -> str | None:
    """Return the role by the type column, else the symbol, else the function; None if unknown.

    >>> suggest_role("BGP", "burst gate pulse in")
    'input'
    """
    pin_type = pin_type.strip().lower()
    if pin_type in ROLES:
        return pin_type
    if pin_type in _TYPES:
        return _TYPES[pin_type]
    for role, sign in _SYMBOLS:
        if re.fullmatch(sign, re.sub(r"[ _]+", "", symbol).upper()):
            return role
    english = _match_role(_cut_to_subject(function)) or _match_role(symbol)
    return english or _match_role(function) or find_role(function) or find_role(pin_type)


def suggest_waveform(symbol: str, function: str, role: str | None) -> str | None:
    """Return the kind of waveform that the words suggest for a pin of this role, or None.

    >>> suggest_waveform("BGP", "burst gate pulse in", "input")
    'line pulse'
    """
    if role not in _SHOWS_SIGNAL:
        return None
    if role == "bus":
        return "bus activity"
    return _find_first_match(_cut_to_subject(function), _WAVEFORM_WORDS) or _find_first_match(
        f"{symbol} {function}", _WAVEFORM_WORDS
    )


def _cut_to_subject(function: str) -> str:
    """Return the subject of a function, without its place and purpose."""
    return re.split(_END_OF_SUBJECT, function, maxsplit=1, flags=re.IGNORECASE)[0]


def _match_role(text: str) -> str | None:
    return _find_first_match(text, _ROLE_WORDS)


def _find_first_match(text: str, rules: tuple[tuple[str, tuple[str, ...]], ...]) -> str | None:
    """Return the result of the first rule whose words are in the text, or in a synonym of it."""
    original, *synonyms = _list_spellings(text)
    for spellings in ([original], synonyms):
        for result, phrases in rules:
            if any(_pad_words(phrase) in spelling for phrase in phrases for spelling in spellings):
                return result
    return None


def _list_spellings(text: str) -> list[str]:
    """Return the text, then the text with each known phrase replaced by its synonyms."""
    terms = load_thesaurus().expand(text[:_LONGEST_TEXT])
    phrases = [_pad_words(term[0]) for term in terms]
    spellings = ["".join(phrases)]
    for index, term in enumerate(terms):
        before, after = "".join(phrases[:index]), "".join(phrases[index + 1 :])
        spellings += [f"{before}{_pad_words(synonym)}{after}" for synonym in term[1:]]
    return [spelling.replace("  ", " ") for spelling in spellings]


@lru_cache(maxsize=1000)  # every pin is compared with the same phrases
def _pad_words(words: str) -> str:
    """Return the words in lower case with a space around each, so whole words match."""
    return f" {' '.join(split_words(words.lower()))} "
