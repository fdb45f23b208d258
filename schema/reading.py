"""A reading at one pin, in SI units."""

from __future__ import annotations

from typing import Final, Literal, NamedTuple, get_args

from .errors import Unusable

Seen = Literal["unstable", "distorted", "missing", "clipped", "hum", "noise"]
SEEN: Final[tuple[str, ...]] = get_args(Seen)


class BadReading(Unusable):
    """A reading that cannot be understood: its key, the text found, the form expected."""


class Reading(NamedTuple):
    """The figures read at one pin, in SI units, and observations without a figure."""

    dc_v: float | None = None
    vpp_v: float | None = None
    frequency_hz: float | None = None
    resistance_ohm: float | None = None
    seen: tuple[str, ...] = ()
    words: tuple[tuple[str, str], ...] = ()
    """A verdict in place of a figure, by quantity: ``("dc", "as expected")``, ``("vpp", "too
    low")``; the quantity ``everything`` is the whole pin."""

    half_digits: tuple[tuple[str, float], ...] = ()
    """Half of the last digit that each figure was typed with, by quantity, in SI units; none for
    figures that were not typed."""

    def __bool__(self) -> bool:
        return self != Reading()
