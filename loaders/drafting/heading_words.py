"""Find the meaning of a column from the words of its heading.

The headings are those of data sheets and bench notes in English, common practice; other languages
are in ``trade_words``.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from typing import Final

from . import trade_words
from .cell_values import clean_cell
from .signal_headings import SIGNAL_KEYS, find_peak_unit, find_signal_key
from .trade_words import list_words

KEYS: Final = (
    "number", "symbol", "function", "role", "unit", "parameter", "value", "test_condition",
    "absolute_maximum", "absolute_minimum", "dc", "dc_min", "dc_typ", "dc_max", "resistance",
    "capacitance", *SIGNAL_KEYS, "skip",
)  # fmt: skip

LONGEST_HEADING: Final = 200

BY_HEADING: Final = "by its heading"
"""Reason of a column whose heading is known."""

_FAMILIES: Final = r"s?dip|s?dil|[lt]?qfp|so|sop|ssop|plcc|zip|sip"
# Words that occur in headings of anything, so they count as a whole heading only.
_WHOLE_HEADINGS: Final = frozenset({"role", "number", "test_condition", "value"})
# Words before a heading that change nothing in its meaning: "left pin", "physical pin".
_BESIDE_THE_POINT: Final = r"^(?:left|right|top|bottom|physical|package|ic|chip) (?=\w)"
# The first key whose words are the heading, else part of it, counts.
_WORDS: Final = {
    "absolute_maximum": r"abs(olute)?\.? max\w*|limiting values?|maximum ratings?|max\.? ratings?",
    "role": r"i/?o|in/out|role|type|pin type|direction",
    "symbol": r"symbol|mnemonic|(pin |signal |terminal )?name|designation|label|abbreviation"
    r"|net( name)?",
    "number": r"(pin|terminal|lead)?\s*(no|nr|num|number|#)\.?|pins?|terminals?|position|pos\.?"
    rf"|({_FAMILIES})\s*-?\s*([0-9]+)?",
    "function": r"(pin )?functions?|(pin )?descriptions?|purpose|meaning",
    "resistance": r"(in|out)put resistance|(in|out)put impedance|resistance|impedance",
    "capacitance": r"(input )?capacitance",
    "unit": r"units?",
    "parameter": r"parameters?|characteristics?|ratings?|items?|quantity",
    "test_condition": r"(test|measuring)? ?conditions?|conditions? of (test|measurement)",
    "value": r"values?",
    "dc": r"(dc|terminal|pin|operating)?\s*(voltages?|potential|level|volts)|v?dc",
}  # fmt: skip
_LIMITS: Final = {
    "min": rf"\b(min(imum)?|{list_words('limits', 'min')})\b\.?",
    "typ": rf"\b(typ(ical)?|nom(inal)?|{list_words('limits', 'typ')})\b\.?",
    "max": rf"\b(max(imum)?|{list_words('limits', 'max')})\b\.?",
}
# States of the set that a heading names, and their names in a chip file.
_ENGLISH_CONDITIONS: Final = {
    "no signal": r"(no|without|w/o) (input |aerial )?signal|no[- ]signal|quiescent",
    "colour bars": r"colou?r bars?",
    "with signal": r"(with|w/) (an? )?(input )?signal|signal applied",
    "standby": r"stand-?by",
    "off": r"(set |power )?off",
    "recording": r"rec(ording)?|record mode",
    "playback": r"play(back)?|playback mode|pb",
}
_CONDITIONS: Final = {
    name: "|".join(filter(None, (words, list_words("states", name))))
    for name, words in _ENGLISH_CONDITIONS.items()
}
_UNIT: Final = re.compile(r"[\[(]\s*([µumkM]?)(V|Ω|[Oo]hms?|F|A|Hz)(?:\s*dc)?\s*[\])]", re.I)
_LAST_UNIT: Final = re.compile(r"(?:/|\bin\b|,)?\s+([mµukM]?)(V|Ω|ohms?|pF|nF)$")
_DC: Final = re.compile(
    r"\bv?dc\b|\b(?:pin|terminal|quiescent|bias|operating)\s+(?:voltage|potential|level)"
    r"|voltages? (?:at|on|of) (?:the )?(?:pin|terminal)",
    re.IGNORECASE,
)
# Voltages that are not the resting DC of a pin: levels of a waveform, thresholds, limits.
_NOT_DC: Final = re.compile(
    r"\b(?:thresholds?|suppl(?:y|ies)|signal|amplitude|peak|p-?p|\w*vpp|ac|rms|swing|sync|burst|key"
    r"|keying|blanking|clamp\w*|clipping|limit\w*|saturation|breakdown|ripple|noise|hysteresis"
    r"|offset|range|sensitivity|gain|rejection|input (?:voltage|level)s?|output (?:voltage|level)s?"
    r"|low[- ]level|high[- ]level|(?:low|high|top|slicing|pulse|black|white|peak) levels?"
    r"|difference|variation|drift|drop|ratio)\b|\(p-?p\)|[vm]p-?p\b",
    re.IGNORECASE,
)
_RATINGS: Final = re.compile(r"absolute maximum|limiting values|maximum ratings", re.IGNORECASE)


@dataclass(frozen=True)
class Column:
    """The meaning of one column; ``index`` counts from 0."""

    index: int
    key: str
    reason: str
    heading: str = ""
    unit: str = ""
    conditions: tuple[str, ...] = ()
    """States of the set that its values hold in; two if a cell holds two values."""

    def __str__(self) -> str:
        states = f" @ {', '.join(self.conditions)}" if self.conditions else ""
        unit = f" in {self.unit}" if self.unit else ""
        return f"column {self.index + 1} {self.heading!r}: {self.key}{states}{unit} ({self.reason})"

    @property
    def name(self) -> str:
        """The key and the state, as the option --column writes them."""
        return "@".join([self.key, *self.conditions[:1]])


def states_dc(words: str) -> bool:
    """Return True if words call a value the DC voltage of a pin, and nothing else.

    >>> states_dc("DC voltage at pin 9"), states_dc("sandcastle burst key level, pin 9")
    (True, False)
    """
    return bool(_DC.search(words)) and not names_other_voltage(words)


def names_other_voltage(words: str) -> bool:
    """Return True if words name a voltage other than resting DC: a threshold, an amplitude."""
    return bool(_NOT_DC.search(_remove_conditions(words)))


def names_ratings(words: str) -> bool:
    """Return True if words head limits that must never be exceeded."""
    return bool(_RATINGS.search(words))


def heading_states_dc(heading: str) -> bool:
    """Return True if a heading names a voltage by more than a unit or min, typ and max."""
    words = _remove_limits(_remove_conditions(_split_unit(heading)[1]))
    return bool(re.search(r"\w", words)) or _remove_conditions(heading) != heading


def find_heading_key(heading: str) -> str | None:
    """Return the key of a column that has this heading alone, or None."""
    column = classify_heading(0, [clean_cell(heading)])
    return column.key if column else None


def is_complete_heading(heading: str) -> bool:
    """Return True if a heading needs none above it; min, V and states of the set do."""
    return classify_heading(0, [clean_cell(heading)], alone=True) is not None


def classify_heading(index: int, parts: list[str], *, alone: bool = False) -> Column | None:
    """Return the column that a heading describes, or None if its words are unknown.

    ``parts`` are the words of the heading, row by row. With ``alone``, only a heading that needs
    none above it counts.
    """
    heading = " | ".join(parts)
    if len(heading) > LONGEST_HEADING:
        return None
    plain = unicodedata.normalize("NFKC", heading)
    unit, words = _split_unit(plain)
    if signal := find_signal_key(plain, words):
        return Column(index, signal, BY_HEADING, heading, _find_signal_unit(signal, plain, unit))
    conditions = _find_own_condition(parts) or find_states(words)
    for condition in conditions:
        pattern = _CONDITIONS.get(condition)
        if pattern is None:
            words = words.replace(condition, " ")
        else:
            words = re.sub(rf"\b({pattern})\b", " ", words, flags=re.I)
    limits = [name for name, pattern in _LIMITS.items() if re.search(pattern, words, re.I)]
    # A word for "type" that also shortens "typical" is part of a longer heading: "тип вывода".
    if key := trade_words.find_heading_key(words):
        limits = []
    key = (
        _match_key(words)
        or key
        or trade_words.find_heading_key(_remove_limits(words).strip(" /-–()"))
    )
    if alone:
        key = None if key in (None, "dc") or limits or conditions else key
        return Column(index, key, "") if key else None
    # An amplitude or a threshold in volts is no DC, even if its heading says DC as well.
    if key in (None, "dc") and names_other_voltage(words):
        return None
    # "Value" alone says nothing of voltage; with another word of the heading it may.
    if key == "value" and (limits or unit == "V"):
        key = None
    if key is None and (limits or conditions or unit == "V") and not _has_other_words(words):
        key = "dc"
    if key is None:
        return None
    if key == "absolute_maximum" and limits == ["min"]:
        key = "absolute_minimum"
    if key == "test_condition" and conditions:
        return None
    if key in ("dc", "parameter") and len(limits) == 1:
        key = f"dc_{limits[0]}"
    conditions = conditions if key.startswith("dc") else ()
    return Column(index, key, BY_HEADING, heading, unit, conditions)


def _find_signal_unit(key: str, heading: str, unit: str) -> str:
    """Return the unit of a column of signals; a size is peak to peak."""
    if key != "vpp":
        return unit
    return f"{unit}pp" if unit.endswith("V") else find_peak_unit(heading)


def _remove_limits(words: str) -> str:
    for pattern in _LIMITS.values():
        words = re.sub(pattern, " ", words, flags=re.I)
    return words


def _has_other_words(words: str) -> bool:
    """Return True if a heading has words besides min, typ, max and "value"."""
    words = re.sub(r"\bvalues?\b", " ", _remove_limits(words), flags=re.I)
    return bool(re.search(r"[^\W\d_]{2}", words))


def _split_unit(heading: str) -> tuple[str, str]:
    """Return the unit in a heading, and the heading without it."""
    bracket = re.search(r"[\[(（]\s*([^\W\d]{1,3})\s*[\])）]", heading)
    if bracket and (unit := trade_words.find_unit(bracket[1])):
        return unit, heading.replace(bracket[0], " ").strip()
    for pattern in (_UNIT, _LAST_UNIT):
        match = pattern.search(heading)
        if match:
            unit = re.sub("[Oo]hms?", "Ω", match[1] + match[2])
            return unit, heading.replace(match[0], " ").strip()
    return ("V", "") if heading.strip() == "V" else ("", heading)


def find_states(words: str) -> tuple[str, ...]:
    """Return the states of the set that the words name, in their order."""
    names = {
        match.start(): name
        for name, pattern in _CONDITIONS.items()
        if (match := re.search(rf"(?<![\w/])(?:{pattern})(?![\w/])", words, re.I))
    }
    return tuple(names[start] for start in sorted(names))


def _remove_conditions(words: str) -> str:
    """Return the words without the names of states of the set."""
    for name in find_states(words):
        words = re.sub(rf"\b({_CONDITIONS[name]})\b", " ", words, flags=re.I)
    return words


def _find_own_condition(parts: list[str]) -> tuple[str, ...]:
    """Return a state in the words of the sheet: after ``DC,``, or below the heading ``DC``."""
    for part in parts:
        match = re.match(r"(?:dc|dc voltage|voltage)\s*[,:@]\s*([^(\[]+)", part, re.I)
        state = match[1] if match else ""
        if not match and part != parts[0] and _match_key(_split_unit(parts[0])[1]) == "dc":
            state = _split_unit(part)[1]
        for pattern in _LIMITS.values():
            state = re.sub(rf"\W*{pattern}\W*", " ", state, flags=re.I)
        if re.search(r"\w{2}", state):
            return name_states(state.strip())
    return ()


def name_states(words: str) -> tuple[str, ...]:
    """Return the known states of the set if the words name nothing else; otherwise the words."""
    names = find_states(words)
    is_all_known = bool(names) and not re.search(r"\w", _remove_conditions(words))
    return names if is_all_known else (words,)


def _match_key(words: str) -> str | None:
    """Return the key whose phrase is the heading, else is part of it; None if none is."""
    heading = " ".join(re.sub(r"[|:()\[\]_]", " ", words).lower().split())
    heading = re.sub(_BESIDE_THE_POINT, "", heading)
    for key, phrases in _WORDS.items():
        if re.fullmatch(phrases, heading):
            return key
    for key, phrases in _WORDS.items():
        if key not in _WHOLE_HEADINGS and re.search(rf"(?<!\w)(?:{phrases})(?!\w)", heading):
            return key
    if re.match(r"(?:pin|terminal)\b", heading) and not re.search("volt|level", heading):
        return "number"
    return None
