"""Readings as repeated fields of a page's address: ``at=7&dc=8.02&at=26&vpp=1.24&seen=jumping``.

The fields are read in order. Each ``at`` opens a reading, and the fields after it belong to it::

    at=7&dc=8.02                  a figure in the unit of its field; a unit may be written
    at=26&vpp=none                or a word: ok, none, jumping, distorted, hum, clipped, skip
    at=26&freq=0.9..1.2 MHz       or a range
    at=26&seen=jumping            a word about all that is read there
    at=7&to=8&ohms=4k7            a resistance between two points, set off
    part=C406&found=open          a part out of circuit: a word, or the value that it measures
    reading=17 dc=3.1V            a reading in one line, as in a terminal or a job file
    readings=17 dc=3.1V           several, one on each line

Blank fields, and fields of other names, mean nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from ...schema.reading import BadReading
from .reading_syntax import KEYS, Taken, read_line

MOST_READINGS: Final = 60
"""So many readings are taken from one address."""
POINT_FIELDS: Final = ("at", "to", *KEYS)
"""Names of the fields of a reading at a point, ``at`` first."""
PART_FIELDS: Final = ("part", "found")
"""Names of the fields of a part out of circuit."""
LINE_FIELDS: Final = ("reading", "readings")
"""Names of the fields that hold whole lines, as version 0.1 had them."""

Field = tuple[str, str]


@dataclass(frozen=True)
class AddressReading:
    """One reading of an address."""

    taken: Taken
    fields: tuple[Field, ...]
    """The fields it was read from, as written, blank ones left out: for the address without it, or
    with another in its place."""

    @property
    def line(self) -> str:
        """The reading as a terminal, a job file and ``reading=`` take it."""
        return self.taken.text


def read_address_fields(
    fields: Iterable[Field], spaced_names: Sequence[str] = ()
) -> tuple[AddressReading, ...]:
    """Return the readings among the fields of an address, in order.

    ``fields`` are (name, text) pairs as ``urllib.parse.parse_qsl`` gives them; ``spaced_names`` as
    in ``reading_syntax.read_line``. Raises BadReading
    for a figure without a place, words that are not understood, and more than MOST_READINGS.
    """
    groups = list(_group_fields(fields))
    if len(groups) > MOST_READINGS:
        raise BadReading(
            f"{len(groups)} readings in the address: expected at most {MOST_READINGS}"
            "; begin a new job"
        )
    return tuple(
        AddressReading(read_line(_write_line(group), spaced_names), group) for group in groups
    )


def list_lines(fields: Iterable[Field]) -> list[str]:
    """Return the readings among the fields as lines to mend, whether they are understood or not."""
    return [" ".join(_say_field(*one) for one in group) for group in _group_fields(fields)]


def _say_field(name: str, text: str) -> str:
    if name in KEYS:
        return f"{name}={text}"
    return f"to {text}" if name == "to" else text


def _group_fields(fields: Iterable[Field]) -> Iterator[tuple[Field, ...]]:
    """Yield the fields of each reading; a place at which nothing was read yields none."""
    group: list[Field] = []
    for name, text in fields:
        plain_text = " ".join(text.split())
        if name in ("at", "part", *LINE_FIELDS):
            yield from _close(group)
            group = []
        if name in LINE_FIELDS:
            yield from (((name, line.strip()),) for line in text.splitlines() if line.strip())
        elif name in (*POINT_FIELDS, *PART_FIELDS) and plain_text:
            group.append((name, plain_text))
    yield from _close(group)


def _close(group: list[Field]) -> Iterator[tuple[Field, ...]]:
    """Yield the group, unless it is empty or a place alone."""
    is_place_alone = len(group) == 1 and group[0][0] in ("at", "part")
    if group and not is_place_alone:
        yield tuple(group)


def _write_line(group: tuple[Field, ...]) -> str:
    """Return a group of fields as one line: ``26 vpp=1.24 seen=jumping``, ``C406: open``."""
    names = [name for name, _ in group]
    first_name, first_text = group[0]
    if first_name in LINE_FIELDS:
        return first_text
    if names == ["part", "found"]:
        _, finding = group[1]
        return f"{first_text}: {finding}"
    if first_name == "at" and not {"part", "found"} & set(names):
        second_place = dict(group).get("to")
        place = first_text if second_place is None else f"{first_text} to {second_place}"
        # A word such as "skip" is about the place, in any field.
        figures = [f"{name}={text}" for name, text in group if name not in ("at", "to")]
        return " ".join([place, *figures])
    written = "&".join(f"{name}={text}" for name, text in group)
    raise BadReading(
        f"{written!r}"
        ": expected a place before it (at=7&dc=8.02), or a part and its test (part=C406&found=open)"
    )
