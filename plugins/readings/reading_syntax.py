"""One grammar for readings, in a terminal, a file, a prompt and an address alike.

A place, then its readings::

    17 dc=3.1V freq=15.1kHz seen=unstable      24 V rail: 24.6 V
    17 freq=0.9..1.2 MHz                       17: 3.1 V, 0.4 Vpp, jumping
    17 dc=ok                                   17 skip
    17 3.1, a DC voltage                       17 470m
    17 to 18 ohms=4k7                          17 none
    RED OUT 3.4, where the chip has that symbol

or the finding on a part out of circuit::

    C418 leaky     C731: open     R402 measures 5k2

or, with the set off, the resistance across a pin's joint, from its leg to the track::

    17 leg to track 0.3
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
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
BAD_JOINT: Final = "joint bad"

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
_PIN_WORD: Final = re.compile(r"pin (?![0-9])", re.I)
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


def read_line(text: str, spaced_names: Sequence[str] = ()) -> Taken:
    """Return the reading written in one line. Raises BadReading.

    ``spaced_names`` are the chip's names of places that have a space in them
    (``places.list_spaced_names``): ``RED OUT 3.4`` is understood where ``RED OUT`` is one.
    """
    line = " ".join(text.split())
    reading = (
        _read_joint_resistance(line)
        or _read_keyed_line(line)
        or _read_joint_words(line)
        or _read_at_spaced_name(line, spaced_names)
        or _read_split_line(line)
    )
    if reading is None:
        raise BadReading(
            f"{text!r}: expected a place and figures such as {_FIGURES_EXAMPLE}"
            ", or a part such as 'C418 leaky', or a place and one of the words"
            f" {reading_words().listed}"
        )
    return replace(reading, text=line)


def _read_joint_resistance(line: str) -> PartReading | None:
    """Return the finding on a joint from ``17 leg to track 0.3``; None for any other line."""
    across_joint = _LEG_TO_TRACK.fullmatch(line)
    if across_joint is None:
        return None
    ohm = read_figure(across_joint["ohm"], "Ω").value
    return PartReading(
        f"pin {across_joint['pin']}", BAD_JOINT if ohm > _OPEN_JOINT_OHM else GOOD_JOINT
    )


def _read_joint_words(line: str) -> PartReading | None:
    """Return the finding on a joint from ``17 dry joint``; None for any other line."""
    joint = _JOINT.fullmatch(line)
    if joint is None:
        return None
    return PartReading(f"pin {joint['pin']}", BAD_JOINT if joint["bad"] else GOOD_JOINT)


def _read_split_line(line: str) -> Taken | None:
    """Return the reading after a place of one word, or after a colon; None where there is none."""
    place, rest = _split(line)
    is_marked = ":" in line or _MEASURES.fullmatch(line) is not None
    return _read_after_place(place, rest, is_marked=is_marked)


def _read_after_place(place: str, rest: str, *, is_marked: bool) -> Taken | None:
    """Return the finding on a part, else the reading at a place; None where there is neither."""
    if not place or not rest:
        return None
    return _read_part(place, rest, is_marked) or read_items(place, rest)


def _read_at_spaced_name(line: str, spaced_names: Sequence[str]) -> Taken | None:
    """Return the reading after a name that has a space in it, the longest first; None where the
    line begins with none. Raises BadReading where two names make sense."""
    if ":" in line:
        return None
    words = _PIN_WORD.sub("", line, count=1)
    readings = dict[str, Taken]()
    for name in sorted(spaced_names, key=len, reverse=True):
        begins_so = words.casefold().startswith(f"{name.casefold()} ")
        place, rest = words[: len(name)], words[len(name) :].strip()
        reading = _read_after_place(place, rest, is_marked=False) if begins_so else None
        if reading is not None:
            readings.setdefault(place, reading)
    if len(readings) > 1:
        longest, shorter, *_ = readings
        figures = words[len(longest) :].strip()
        raise BadReading(
            f"{line!r} may be a reading at {longest} or at {shorter}"
            f": expected a colon behind the place, such as '{longest}: {figures}'"
        )
    return next(iter(readings.values()), None)


def complete_answer(place: str, field: str, text: str, spaced_names: Sequence[str] = ()) -> str:
    """Return an answer to a question as a complete line: to ``vpp`` at pin 26 ``470m`` is
    ``26 vpp=470m``, and ``17 dc=3.1`` is a reading of its own.

    ``field`` is one of ``KEYS``, or ``found`` with ``place`` a part; ``spaced_names`` as in
    ``read_line``. Raises BadReading.
    """
    answer = " ".join(text.split())
    if not answer:
        raise BadReading(f"no answer: expected a figure or one of {reading_words().listed}")
    # An answer with a place or a quantity of its own is a line already.
    is_line = "=" in answer or ":" in answer or _PIN_AND_WORD.fullmatch(answer) is not None
    if is_line:
        line = answer
    else:
        line = f"{place}: {answer}" if field == "found" else f"{place} {field}={answer}"
    try:
        read_line(line, spaced_names)
    except BadReading as refused:
        # An answer that names another place is read whole; any other is about the place asked.
        try:
            read_line(answer, spaced_names)
        except BadReading:
            raise refused from None
        return answer
    return line


def read_items(place: str, rest: str) -> PointReading | None:
    """Return the reading written after a place (``3.1 V, 0.4 Vpp, jumping``), or None."""
    reading = PointReading(place)
    is_at_a_part = _REFERENCE.fullmatch(place) is not None
    items = [item for piece in _ITEMS.split(rest) if (item := piece.strip())]
    for item in items:
        with_word = _read_with_word(reading, EVERYTHING, item)
        if with_word is not None:
            reading = with_word
            continue
        quantity = _find_quantity(item, is_at_a_part=is_at_a_part)
        if quantity is None:
            return None
        reading = _read_quantity(reading, quantity, item)
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
    # Only a resistance has two places: voltages are read against ground.
    two_places = _TWO_PLACES.fullmatch(place)
    if two_places is not None and dict(reading.figures).keys() == {"resistance"}:
        return replace(reading, place=two_places["first"], other=two_places["second"])
    return reading


def _read_seen(reading: PointReading, written: str) -> PointReading:
    """Return the reading with the words of ``seen=`` added. Raises BadReading for another word."""
    words = [word for piece in written.split(",") if (word := piece.strip().casefold())]
    for word in words:
        with_word = _read_with_word(reading, EVERYTHING, word)
        if with_word is None:
            listed = ", ".join(dict.fromkeys(reading_words().seen.values()))
            raise BadReading(f"seen {word!r}: expected one of {listed}")
        reading = with_word
    return reading


def _read_quantity(reading: PointReading, quantity: str, written: str) -> PointReading:
    """Return the reading with one quantity more: a figure, a word, or a figure and words."""
    figure_text = written
    # Most texts are a figure and no more; the words need not be loaded for them.
    if not _is_figure(written, UNITS[quantity]):
        with_word = _read_with_word(reading, quantity, written)
        if with_word is not None:
            return with_word
        figure_text, words = _split_trailing_words(written)
        for word in words:
            reading = _read_with_word(reading, EVERYTHING, word) or reading
    try:
        figure = read_figure(figure_text, UNITS[quantity])
    except BadReading as refused:
        raise BadReading(
            f"{quantity} {refused}; or one of the words {reading_words().listed}"
        ) from None
    # A DC voltage has a sign; amplitudes, frequencies and resistances have none.
    if quantity != "dc" and figure.value < 0:
        raise BadReading(f"{quantity} {figure_text!r}: expected a figure that is not negative")
    return replace(reading, figures=(*reading.figures, (quantity, figure)))


def _split_trailing_words(written: str) -> tuple[str, list[str]]:
    """Return the figure of ``1 MHz jumping`` and its words."""
    pieces, words = written.split(" "), list[str]()
    while len(pieces) > 1 and pieces[-1].strip(",").casefold() in reading_words().seen:
        words.insert(0, pieces.pop().strip(","))
    return " ".join(pieces).rstrip(","), words


def _read_with_word(reading: PointReading, quantity: str, written: str) -> PointReading | None:
    """Return the reading with the meaning of a word added; None for an unknown word."""
    vocabulary, word = reading_words(), written.casefold()
    is_whole_place = quantity == EVERYTHING
    if word in vocabulary.skip:
        return _add_verdict(reading, quantity, SKIPPED)
    if word in vocabulary.right:
        return _add_verdict(reading, quantity, RIGHT)
    if word in vocabulary.steady:
        return replace(reading, is_steady=True)
    if word in vocabulary.seen:
        meaning = vocabulary.seen[word]
        # "vpp=none" says that the amplitude is missing; "none" alone, that all is.
        if meaning == NOTHING and not is_whole_place:
            return _add_verdict(reading, quantity, NOTHING)
        seen = tuple(dict.fromkeys((*reading.seen, meaning)))
        seen_reading = replace(reading, seen=seen)
        return seen_reading if is_whole_place else _add_verdict(seen_reading, quantity, LOOKED_AT)
    # "Too low" needs a quantity that is.
    if word in vocabulary.verdicts and not is_whole_place:
        return _add_verdict(reading, quantity, vocabulary.verdicts[word])
    return None


def _add_verdict(reading: PointReading, quantity: str, verdict: str) -> PointReading:
    return replace(reading, words=(*reading.words, (quantity, verdict)))


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
    # A part out of circuit has no voltage.
    if any(_is_figure(rest, unit) for unit in ("V", "Vpp")):
        return None
    is_value = any(_is_figure(rest, unit) for unit in _OF_A_PART)
    is_bare_value = _BARE.fullmatch(rest) is not None and _REFERENCE.fullmatch(place) is not None
    if is_value or is_bare_value:
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
