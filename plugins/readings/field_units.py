"""Units chosen beside a field of a form: ``vpp=470&vpp_unit=mV`` is ``vpp=470 mV``.

A unit written with the figure wins over the one that was chosen.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from .address_fields import Field

UNIT_SUFFIX: Final = "_unit"
_BARE: Final = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)?|[+-]?[.,][0-9]+")
_UNITS: Final = ("V", "mV", "Hz", "kHz", "MHz", "Ω", "kΩ", "MΩ")


def complete_units(fields: Iterable[Field]) -> list[Field]:
    """Return the fields of an address with each chosen unit written after its bare figure."""
    completed: list[Field] = []
    for name, text in fields:
        if not name.endswith(UNIT_SUFFIX):
            completed.append((name, text))
            continue
        # The unit belongs to the last field of its name before it.
        figure_name = name.removesuffix(UNIT_SUFFIX)
        for index in reversed(range(len(completed))):
            completed_name, figure = completed[index]
            if completed_name == figure_name:
                if text in _UNITS and _BARE.fullmatch(figure.strip()):
                    completed[index] = (figure_name, f"{figure.strip()} {text}")
                break
    return completed


def choose_units(unit: str, typical: float) -> tuple[str, ...]:
    """Return the units to choose from for a figure, the likeliest first.

    ``unit`` is ``V``, ``Vpp``, ``Hz`` or ``Ω``, ``typical`` the figure that should be there.
    """
    if unit in ("V", "Vpp"):
        return ("mV", "V") if 0 < abs(typical) < 1 else ("V", "mV")
    prefixes = ("k", "M") if abs(typical) >= 1e5 else ("", "k")
    likeliest = max(prefixes, key=lambda prefix: _fits(abs(typical), prefix))
    others = [prefix for prefix in prefixes if prefix != likeliest]
    return tuple(f"{prefix}{unit}" for prefix in (likeliest, *others))


def _fits(size: float, prefix: str) -> bool:
    """Whether a size has one to three digits before the point with this prefix."""
    power = {"": 1.0, "k": 1e3, "M": 1e6}[prefix]
    return bool(1 <= size / power < 1000)
