"""Advice on values that no television has: most are a slip of the prefix."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

from ..chips.application import Part
from ..chips.data import ChipData, Pin, Supply
from ..chips.places import Place
from ..model import Model
from ..quantities import Quantity, print_value
from .example import expect, write_pin
from .rule import Problem, advice

Span = tuple[float, float]
"""Smallest and largest size that is likely, in the unit of the quantity."""

# Sizes of anything in a set, by unit, with room to spare. Common practice.
_BY_UNIT: Final[dict[str, Span]] = {
    "V": (1e-6, 50e3),
    "Vpp": (1e-6, 50e3),
    "Vrms": (1e-7, 50e3),
    "A": (1e-12, 100),
    "Ω": (1e-3, 10e9),
    "F": (1e-14, 1),
    "H": (1e-9, 1e3),
    "Hz": (0.01, 10e9),
    "s": (1e-10, 1e5),
    "W": (1e-9, 10e3),
}
# Sizes in one field, where they are narrower. Common practice.
_BY_FIELD: Final[dict[tuple[type[Model], str], Span]] = {
    (Supply, "voltage"): (0.5, 500),
    (Supply, "current"): (10e-6, 20),
    (Pin, "absolute_maximum"): (0.1, 5e3),
    (Pin, "resistance"): (0.1, 1e9),
    (Pin, "capacitance"): (1e-13, 1e-7),
    (Part, "rating"): (0.5, 50e3),
}
_BY_PART: Final[dict[str, Span]] = {
    "resistor": (1e-3, 1e9),
    "potentiometer": (1, 50e6),
    "capacitor": (1e-13, 1e-3),
    "electrolytic capacitor": (1e-8, 1),
    "trimmer capacitor": (1e-13, 1e-8),
    "coil": (1e-9, 100),
    "crystal": (10e3, 500e6),
    "ceramic resonator": (10e3, 500e6),
    "ceramic filter": (10e3, 500e6),
    "delay line": (1e-9, 0.1),
    "zener diode": (1, 1e3),
}


@advice(
    "size-likely",
    title="No value is a thousandfold off what a television, a recorder or a monitor has.",
    why="""M for m, or µ for p, makes a value of the right figures and the wrong size, which looks
    right on a card.""",
    fix="Compare the prefix with the data sheet.",
    bad=write_pin(3, expect("dc: 3 V"), capacitance="8 µF"),
    good=write_pin(3, expect("dc: 3 V"), capacitance="8 pF"),
)
def find_unlikely_sizes(chip: ChipData) -> Iterator[Problem]:
    """Yield each value beyond the likely span of its field or its unit."""
    for place, owner, name, quantity in _walk_quantities(chip, ()):
        span = _BY_FIELD.get((type(owner), name)) or _BY_UNIT.get(quantity.unit)
        if isinstance(owner, Part) and name == "value":
            span = _BY_PART[owner.kind]
        if span is None:
            continue
        least, most = span
        # Zero is left out: it is written on purpose, and has no prefix to be wrong.
        sizes = [abs(value) for value in (quantity.low, quantity.typ, quantity.high) if value]
        megahertz = _write_megahertz(quantity)
        if megahertz is not None or any(not least <= size <= most for size in sizes):
            likely = " to ".join(print_value(end, quantity.unit) for end in span)
            problem = f"{quantity} is no likely {name.replace('_', ' ')}, which is {likely}"
            yield Problem(place, problem, "correct the prefix or the value", megahertz)


def _write_megahertz(quantity: Quantity) -> str | None:
    """Return the text with MHz for mHz: millihertz are never meant; None for another unit."""
    is_slip = quantity.unit == "Hz" and "mHz" in quantity.text
    return quantity.text.replace("mHz", "MHz") if is_slip else None


def _walk_quantities(owner: Model, at: Place) -> Iterator[tuple[Place, Model, str, Quantity]]:
    """Yield every quantity in a model and the models in it: place, owner, field, quantity."""
    for name in type(owner).model_fields:
        value: Any = getattr(owner, name)
        if isinstance(value, Quantity):
            yield (*at, name), owner, name, value
        elif isinstance(value, Model):
            yield from _walk_quantities(value, (*at, name))
        elif isinstance(value, tuple):
            for index, item in enumerate(value):
                if isinstance(item, Model):
                    yield from _walk_quantities(item, (*at, name, index))
    if isinstance(owner, Part) and owner.quantity is not None:
        yield (*at, "value"), owner, "value", owner.quantity
