"""One grammar for readings, in a terminal, a file, a prompt and an address alike.

A place, then its readings::

    17 dc=3.1V freq=15.1kHz seen=unstable      24 V rail: 24.6 V
    17 freq=0.9..1.2 MHz                       17: 3.1 V, 0.4 Vpp, jumping
    17 dc=ok                                   17 skip
    17 3.1, a DC voltage                       17 470m
    17 to 18 ohms=4k7                          17 none

or the finding on a part out of circuit::

    C418 leaky     C731: open     R402 measures 5k2

or, with the set off, the resistance across a pin's joint, from its leg to the track::

    17 leg to track 0.3
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Final

from ...schema.reading import BadReading
from .reading_words import reading_words
from .written_figures import UNITS, Figure, read_figure

KEYS: Final = {
    "dc": "dc",
    "vpp": "vpp",
    "freq": "frequency",
    "frequency": "frequency",
    "ripple": "ripple",
    "ohms": "resistance",
    "resistance": "resistance",
    "seen": "seen",
}
"""How a quantity is written before ``=``, and its name."""

EVERYTHING: Final = "everything"
"""The quantity of a reading of the whole place: ``17 skip``, ``17 ok``."""
_FIGURES_EXAMPLE: Final = "'17: 3.1 V, 0.4 Vpp', '17 dc=3.1 freq=15.1kHz' or '17 3.1'"
RIGHT: Final = "as expected"
SKIPPED: Final = "skipped"
NOTHING: Final = "missing"
LOOKED_AT: Final = "looked at"
"""In place of a verdict: the signal was only looked at, without a figure."""
GOOD_JOINT: Final = "joint good"

_KEYED: Final = re.compile(rf"(?:^|\s+)(?=(?:{'|'.join(KEYS)})=)")
_MEASURES: Final = re.compile(r"(?P<place>.+?)\s+(?:measures|reads|is)\s+(?P<rest>.+)", re.I)
_TWO_PLACES: Final = re.compile(r"(?P<first>.+?)\s+(?:to|and)\s+(?P<second>.+)", re.I)
_ITEMS: Final = re.compile(r"(?<![0-9]),|,(?![0-9])|;")  # a comma between digits is a decimal one
_JOINT: Final = re.compile(
    r"(?:pin\s*)?(?P<pin>[0-9]+)\s*:?\s*"
    r"(?:(?P<good>soldered again|resoldered|joint good|joint ok)"
    r"|(?P<bad>dry joint|bad joint|joint bad|joint was bad|cracked joint)).*",
    re.I,
)
_LEG_TO_TRACK: Final = re.compile(
    r"(?:pin\s*)?(?P<pin>[0-9]+)\s+leg\s+(?:to|and)\s+(?:the\s+)?(?P<track>\S+?)\s*(?:[:=]|\s+ohms=|\s)"
    r"\s*(?P<ohm>[0-9].*)",
    re.I,
)
# From the leg to the copper a sound joint reads no more than the meter's leads. Common practice.
_OPEN_JOINT_OHM: Final = 2.0
_PIN_AND_WORD: Final = re.compile(r"(?:pin\s+)?[0-9]+\s+[A-Za-z]{3,}.*", re.I)
_BY_UNIT: Final = (("dc", "V"), ("vpp", "Vpp"), ("frequency", "Hz"), ("resistance", "Ω"))
_OF_A_PART: Final = ("Ω", "F", "H", "Hz")
# A number alone, or in thousandths, is the DC voltage that a meter shows; 4k7 is a resistance.
_BARE: Final = re.compile(r"[+-]?[0-9]*[.,]?[0-9]+ ?[mµu]?")
_REFERENCE: Final = re.compile(r"(?:R|C|L|X|D|Q|T|TR|VR|P|F|FB|DL|CF|Z)[0-9]{1,4}[A-Z]?", re.I)


@dataclass(frozen=True)
class PointReading:
    """The readings at one place, as written."""

    place: str
    """Pin, symbol, node, or a part between whose leads a resistance was read."""
    figures: tuple[tuple[str, Figure], ...] = ()
    """By quantity: ``dc``, ``vpp``, ``frequency``, ``ripple``, ``resistance``."""
    words: tuple[tuple[str, str], ...] = ()
    """Verdicts without a figure, by quantity: ``as expected``, ``missing``, ``too low`` ..."""
    seen: tuple[str, ...] = ()
    """``unstable``, ``distorted``, ``missing``, ``clipped``, ``hum``, ``noise``."""
    is_steady: bool = False
    """The reading says that nothing of this was seen."""
    other: str | None = None
    """The second place of a resistance between two."""
    condition: str | None = None
    text: str = field(default="", compare=False)

    @property
    def skipped(self) -> tuple[str, ...]:
        """The quantities that could not be read there; or ``everything``."""
        return tuple(quantity for quantity, word in self.words if word == SKIPPED)


@dataclass(frozen=True)
class PartReading:
    """The finding on a part out of circuit, as written."""

    ref: str
    found: str
    """A word (``leaky``) or the value that it measures (``5k2``)."""
    text: str = field(default="", compare=False)


Taken = PointReading | PartReading


def read_line(text: str) -> Taken:
    """Return the reading written in one line. Raises BadReading."""
    line = " ".join(text.split())
    across_joint = _LEG_TO_TRACK.fullmatch(line)
    if across_joint is not None:
        ohm = read_figure(across_joint["ohm"], "Ω").value
        found = "joint bad" if ohm > _OPEN_JOINT_OHM else GOOD_JOINT
        return PartReading(f"pin {across_joint['pin']}", found, line)
    keyed = _read_keyed_line(line)
    if keyed is not None:
        return replace(keyed, text=line)
    joint = _JOINT.fullmatch(line)
    if joint is not None:
        return PartReading(f"pin {joint['pin']}", "joint bad" if joint["bad"] else GOOD_JOINT, line)
    place, rest = _split(line)
    if place and rest:
        part = _read_part(place, rest, ":" in line or _MEASURES.fullmatch(line) is not None)
        if part is not None:
            return replace(part, text=line)
        point = read_items(place, rest)
        if point is not None:
            return replace(point, text=line)
    words = reading_words()
    raise BadReading(
        f"{text!r}: expected a place and figures such as {_FIGURES_EXAMPLE}"
        f", or a part such as 'C418 leaky', or a place and one of the words {words.listed}"
    )


def complete_answer(place: str, field: str, text: str) -> str:
    """Return an answer to a question as a complete line: to ``vpp`` at pin 26 ``470m`` is
    ``26 vpp=470m``, and ``17 dc=3.1`` is a reading of its own.

    ``field`` is one of ``KEYS``, or ``found`` with ``place`` a part. Raises BadReading.
    """
    answer = " ".join(text.split())
    if not answer:
        raise BadReading(f"no answer: expected a figure or one of {reading_words().listed}")
    line = f"{place}: {answer}" if field == "found" else f"{place} {field}={answer}"
    if "=" in answer or ":" in answer or _PIN_AND_WORD.fullmatch(answer):
        line = answer
    try:
        read_line(line)
    except BadReading as refused:
        # An answer that names another place is read whole; any other is about the place asked.
        try:
            read_line(answer)
        except BadReading:
            raise refused from None
        return answer
    return line


def read_items(place: str, rest: str) -> PointReading | None:
    """Return the reading written after a place (``3.1 V, 0.4 Vpp, jumping``), or None."""
    reading = PointReading(place)
    for item in filter(None, (piece.strip() for piece in _ITEMS.split(rest))):
        quantity = _find_quantity(item, is_at_a_part=_REFERENCE.fullmatch(place) is not None)
        words = _read_with_word(reading, EVERYTHING, item)
        if words is not None:
            reading = words
        elif quantity is not None:
            reading = _read_quantity(reading, quantity, item)
        else:
            return None
    return reading


def split_fields(text: str) -> tuple[str, list[tuple[str, str]]]:
    """Return the text before the first ``dc=`` or the like, and (key, text) of each field."""
    place, *items = _KEYED.split(text.strip())
    return place, [(key, written) for key, _, written in (item.partition("=") for item in items)]


def read_keyed(place: str, fields: Iterable[tuple[str, str]]) -> PointReading:
    """Return the reading in the texts under ``dc``, ``vpp``, ``freq``, ``ripple``, ``ohms`` and
    ``seen``; blank ones mean nothing. Raises BadReading."""
    reading = PointReading(place)
    for key, written in fields:
        text = " ".join(written.split())
        if text and KEYS[key] == "seen":
            reading = _read_seen(reading, text)
        elif text:
            reading = _read_quantity(reading, KEYS[key], text)
    return reading


def _read_keyed_line(line: str) -> PointReading | None:
    """Return a reading written with ``dc=`` and the like; None where there is none of these."""
    place, fields = split_fields(line)
    if not fields:
        return None
    if not place:
        raise BadReading(f"{line!r}: expected a place before it, such as '17 {line}'")
    reading = read_keyed(place, fields)
    two = _TWO_PLACES.fullmatch(place)
    if two is not None and dict(reading.figures).keys() == {"resistance"}:
        return replace(reading, place=two["first"], other=two["second"])
    return reading


def _read_seen(reading: PointReading, written: str) -> PointReading:
    for word in filter(None, (piece.strip().casefold() for piece in written.split(","))):
        changed = _read_with_word(reading, EVERYTHING, word)
        if changed is None:
            listed = ", ".join(dict.fromkeys(reading_words().seen.values()))
            raise BadReading(f"seen {word!r}: expected one of {listed}")
        reading = changed
    return reading


def _read_quantity(reading: PointReading, quantity: str, written: str) -> PointReading:
    """Return the reading with one quantity more: a figure, a word, or a figure and words."""
    figure = written
    # Most texts are a figure and no more; the words need not be loaded for them.
    if not _is_figure(written, UNITS[quantity]):
        word_reading = _read_with_word(reading, quantity, written)
        if word_reading is not None:
            return word_reading
        figure, words = _split_trailing_words(written)
        for word in words:
            reading = _read_with_word(reading, EVERYTHING, word) or reading
    try:
        value = read_figure(figure, UNITS[quantity])
    except BadReading as refused:
        raise BadReading(
            f"{quantity} {refused}; or one of the words {reading_words().listed}"
        ) from None
    if quantity != "dc" and value.value < 0:
        raise BadReading(f"{quantity} {figure!r}: expected a figure that is not negative")
    return replace(reading, figures=(*reading.figures, (quantity, value)))


def _split_trailing_words(written: str) -> tuple[str, list[str]]:
    """Return the figure of ``1 MHz jumping`` and its words."""
    pieces, words = written.split(" "), list[str]()
    while len(pieces) > 1 and pieces[-1].strip(",").casefold() in reading_words().seen:
        words.insert(0, pieces.pop().strip(","))
    return " ".join(pieces).rstrip(","), words


def _read_with_word(found: PointReading, quantity: str, written: str) -> PointReading | None:
    """Return the reading with the meaning of a word added; None for an unknown word."""
    known, word = reading_words(), written.casefold()
    if word in known.skip:
        return replace(found, words=(*found.words, (quantity, SKIPPED)))
    if word in known.right:
        return replace(found, words=(*found.words, (quantity, RIGHT)))
    if word in known.steady:
        return replace(found, is_steady=True)
    if word in known.seen:
        meaning = known.seen[word]
        if meaning == NOTHING and quantity != EVERYTHING:
            return replace(found, words=(*found.words, (quantity, NOTHING)))
        looked = () if quantity == EVERYTHING else ((quantity, LOOKED_AT),)
        seen = tuple(dict.fromkeys((*found.seen, meaning)))
        return replace(found, seen=seen, words=(*found.words, *looked))
    if word in known.verdicts and quantity != EVERYTHING:
        return replace(found, words=(*found.words, (quantity, known.verdicts[word])))
    return None


def _split(line: str) -> tuple[str, str]:
    """Return the place in a line and the text after it."""
    measured = _MEASURES.fullmatch(line)
    if measured is not None:
        return measured["place"].rstrip(":"), measured["rest"]
    place, colon, rest = line.partition(":")
    if colon:
        return place.strip(), rest.strip()
    pin = re.match(r"pin (\S+) (.+)", line, re.I)
    if pin is not None:
        return f"pin {pin[1]}", pin[2]
    place, _, rest = line.partition(" ")
    return place, rest


def _read_part(place: str, rest: str, is_marked: bool) -> PartReading | None:
    """Return the finding on a part; None where the text is about a point of the board.

    ``is_marked``: with a colon, or "measures", so that anything may follow.
    """
    if not re.search("[A-Za-z]", place) or re.fullmatch(r"pin \S+", place, re.I):
        return None
    word = _find_part_word(rest)
    if word is not None:
        return PartReading(place, word)
    if not is_marked or rest.casefold() in reading_words().seen:
        return None
    if any(_is_figure(rest, unit) for unit in ("V", "Vpp")):
        return None
    is_value = any(_is_figure(rest, unit) for unit in _OF_A_PART)
    if is_value or (_BARE.fullmatch(rest) and _REFERENCE.fullmatch(place)):
        return PartReading(place, rest)
    return None if read_items(place, rest) is not None else PartReading(place, rest)


def _find_part_word(text: str) -> str | None:
    return reading_words().part.get(text.casefold())


def _find_quantity(item: str, *, is_at_a_part: bool) -> str | None:
    """Return which quantity an item is, told by its unit."""
    figure, _ = _split_trailing_words(item)
    if _BARE.fullmatch(figure) and not is_at_a_part:
        return "dc"
    return next((name for name, unit in _BY_UNIT if _is_figure(figure, unit)), None)


def _is_figure(text: str, unit: str) -> bool:
    """Whether a text is a figure with its unit, none left out."""
    if not re.search(r"[^0-9.,\s+-]", text):
        return False
    if unit == "V" and re.search(r"p-?p$", text):
        return False
    if unit == "Vpp" and not re.search(r"p-?p$", text):
        return False
    try:
        read_figure(text, unit)
    except BadReading:
        return False
    return _has_unit(text, unit)


def _has_unit(text: str, unit: str) -> bool:
    """Whether the unit itself is written, or left out as is usual for it (4k7, 100n)."""
    if unit in ("Ω", "F"):
        return not re.search(r"(V|Vp-?p|Hz)$", text)
    return text.casefold().endswith(unit.casefold()) or bool(re.search("p-?p$", text))
