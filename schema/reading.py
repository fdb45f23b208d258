"""A reading at one pin, as a technician writes it down."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal, get_args

from .errors import Unusable
from .quantities import QuantityError, parse_quantity

Seen = Literal["unstable", "distorted", "missing", "clipped", "hum"]
SEEN: Final[tuple[str, ...]] = get_args(Seen)
# Each key of a written reading with its unit.
_UNITS: Final = {"dc": "V", "vpp": "Vpp", "freq": "Hz", "ohms": "Ω"}


class BadReading(Unusable):
    """A reading that cannot be understood: its key, the text found, the form expected."""


@dataclass(frozen=True)
class Reading:
    """The figures read at one pin, in SI units, and observations without a figure."""

    dc_v: float | None = None
    vpp_v: float | None = None
    frequency_hz: float | None = None
    resistance_ohm: float | None = None
    seen: tuple[str, ...] = ()

    def __bool__(self) -> bool:
        return self != Reading()


def read_reading(written: Mapping[str, str | None]) -> Reading:
    """Return the reading in the texts under ``dc``, ``vpp``, ``freq``, ``ohms`` and ``seen``.

    ``seen`` may hold several words between commas. Raises BadReading.
    """
    figures = {
        key: _read_figure(key, text, unit) if (text := (written.get(key) or "").strip()) else None
        for key, unit in _UNITS.items()
    }
    words = [word.strip().lower() for word in (written.get("seen") or "").split(",")]
    seen = tuple(word for word in words if word)
    for word in seen:
        if word not in SEEN:
            raise BadReading(f"seen: found {word!r}, expected one of {', '.join(SEEN)}")
    return Reading(figures["dc"], figures["vpp"], figures["freq"], figures["ohms"], seen)


def _read_figure(name: str, text: str, unit: str) -> float:
    """Return one figure in SI units; raise BadReading for a range, or a size below zero."""
    try:
        quantity = parse_quantity(text, unit)
    except QuantityError as refused:
        raise BadReading(f"{name}: {refused}") from None
    if quantity.typ is None or quantity.low is not None or quantity.high is not None:
        raise BadReading(f"{name}: found {text!r}, expected one figure as it was read")
    if name != "dc" and quantity.typ < 0:
        raise BadReading(f"{name}: found {text!r}, expected a figure that is not negative")
    return quantity.typ
