"""A chip as the rows of the folio's tables.

Rows are tuples in the order of ``COLUMNS``. A pin is told by its number and a stage by its place
in the chip: the writer makes the folio's own numbers of these, and gives equal conditions, levels,
signals and resistances one row each.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

from ...schema import Chip, Expectation, Part
from ...schema.quantities import Quantity
from ...schema.text import part_key

Row = dict[str, Any]
Values = tuple[Any, ...]

_SHOWN: Final = ("condition", "dc", "signal", "resistance", "source", "page")

COLUMNS: Final[dict[str, tuple[str, ...]]] = {
    "chip": (
        "part", "part_key", "maker", "kind", "summary", "invented", "package", "family",
        "pin_count", "markings",
    ),
    "marking": ("chip", "text", "key"),
    "relation": ("chip", "relation", "part", "note"),
    "chip_system": ("chip", "system"),
    "supply": ("chip", "name", "pins", "typ_v", "min_v", "max_v", "current_a"),
    "source": ("chip", "number", "id", "kind", "title", "revision", "date"),
    "block": ("key", "chip", "id", "name", "inputs", "outputs", "needs"),
    "part": (
        "chip", "ref", "kind", "value", "resistance_ohm", "capacitance_f", "inductance_h",
        "frequency_hz", "delay_s", "zener_v", "tolerance_percent", "rating_v", "dielectric",
        "purpose", "why",
    ),
    "part_end": ("chip", "ref", "position", "endpoint"),
    "node": ("chip", "id", "name"),
    "hazard": ("chip", "kind", "endpoint", "caution", "probe"),
    "pin": (
        "id", "chip", "number", "symbol", "function", "role", "absolute_maximum_v",
        "resistance_ohm", "capacitance_f", "blocks",
    ),
    "pin_expectation": ("pin", *_SHOWN),
    "node_expectation": ("chip", "node", *_SHOWN),
}  # fmt: skip
"""The columns of each table that a chip fills."""

# The columns of table `part` that values go to, by their units.
_VALUE_UNITS: Final = ("Ω", "F", "H", "Hz", "s", "V")


def chip_rows(chip: Chip) -> dict[str, list[Values]]:
    """Rows by table. First in a row of ``pin`` and ``pin_expectation`` stands the pin's place in
    the chip, in ``block`` the block's; level and signal stand as their values.
    """
    part, application = chip.part, chip.application
    return {
        "chip": [_chip_row(chip)],
        "marking": list(_marking_rows(chip)),
        "relation": list(_relation_rows(chip)),
        "chip_system": [(part, system) for system in chip.systems],
        "supply": list(_supply_rows(chip)),
        "source": [
            (part, n, s.id, s.kind, s.title, s.revision, s.date) for n, s in enumerate(chip.sources)
        ],
        "block": list(_block_rows(chip)),
        "part": [_part_row(chip, each) for each in application.parts],
        "part_end": list(_part_end_rows(chip)),
        "node": [(part, node.id, node.name) for node in application.nodes],
        "hazard": list(_hazard_rows(chip)),
        "pin": list(_pin_rows(chip)),
        "pin_expectation": list(_pin_expectation_rows(chip)),
        "node_expectation": list(_node_expectation_rows(chip)),
    }


def _chip_row(chip: Chip) -> Values:
    return (
        chip.part,
        part_key(chip.part),
        chip.maker,
        chip.kind,
        chip.summary,
        int(chip.invented),
        chip.package.name,
        chip.package.family,
        len(chip.pins),
        ", ".join(chip.markings),
    )


def _marking_rows(chip: Chip) -> Iterator[Values]:
    for text in dict.fromkeys((chip.part, *chip.markings)):
        yield chip.part, text, part_key(text)


def _relation_rows(chip: Chip) -> Iterator[Values]:
    for name, relations in (("replaces", chip.replaces), ("similar", chip.similar)):
        for relation in relations:
            yield chip.part, name, relation.part, relation.note


def _supply_rows(chip: Chip) -> Iterator[Values]:
    for supply in chip.supplies:
        pins, voltage = ", ".join(map(str, supply.pins)), supply.voltage
        volts = voltage.nominal, voltage.low, voltage.high
        yield chip.part, supply.name, pins, *volts, _nominal(supply.current)


def _block_rows(chip: Chip) -> Iterator[Values]:
    for place, block in enumerate(chip.blocks):
        ends = (", ".join(each) for each in (block.inputs, block.outputs, block.needs))
        yield place, chip.part, block.id, block.name, *ends


def _part_row(chip: Chip, part: Part) -> Values:
    quantity = part.quantity
    unit = quantity.unit if quantity else None
    value = _nominal(quantity)
    return (
        *(chip.part, part.ref, part.kind, part.value),
        *(value if unit == each else None for each in _VALUE_UNITS),
        *(_nominal(part.tolerance), _nominal(part.rating)),
        *(part.dielectric, part.purpose, part.why),
    )


def _part_end_rows(chip: Chip) -> Iterator[Values]:
    for part in chip.application.parts:
        for position, endpoint in enumerate(part.joins, start=1):
            yield chip.part, part.ref, position, endpoint


def _hazard_rows(chip: Chip) -> Iterator[Values]:
    for hazard in chip.hazards:
        yield chip.part, hazard.kind, hazard.at, hazard.caution, int(hazard.probe)


def _pin_rows(chip: Chip) -> Iterator[Values]:
    stages = _stages_at(chip)
    for place, pin in enumerate(chip.pins):
        yield (
            place,
            chip.part,
            pin.number,
            pin.symbol,
            pin.function,
            pin.role,
            _nominal(pin.absolute_maximum),
            _nominal(pin.resistance),
            _nominal(pin.capacitance),
            ", ".join(stages.get(f"pin {pin.number}", ())),
        )


def _stages_at(chip: Chip) -> dict[str, list[str]]:
    """Names of the stages whose signal enters or leaves at each endpoint."""
    stages: dict[str, list[str]] = {}
    for block in chip.blocks:
        for end in dict.fromkeys((*block.inputs, *block.outputs)):
            stages.setdefault(end, []).append(block.name)
    return stages


def _pin_expectation_rows(chip: Chip) -> Iterator[Values]:
    shown = _Shown(chip)
    for place, pin in enumerate(chip.pins):
        for expectation in pin.expectations:
            yield place, *shown.values(expectation)


def _node_expectation_rows(chip: Chip) -> Iterator[Values]:
    shown = _Shown(chip)
    for node in chip.application.nodes:
        for expectation in node.expectations:
            yield chip.part, node.id, *shown.values(expectation)


class _Shown:
    """Makes the columns of expectations of one chip; its source stands as a number."""

    def __init__(self, chip: Chip) -> None:
        self._conditions = {state.name: (state.name, state.means) for state in chip.conditions}
        self._sources = {source.id: place for place, source in enumerate(chip.sources)}

    def values(self, expectation: Expectation) -> Values:
        """The columns in ``_SHOWN``."""
        return (
            self._conditions[expectation.condition],
            _level(expectation),
            _signal(expectation),
            _resistance(expectation),
            self._sources[expectation.source.id],
            expectation.source.page,
        )


def _level(expectation: Expectation) -> Values | None:
    """A row of table ``level`` but for its number."""
    dc, limits = expectation.dc, expectation.dc_limits_v()
    if dc is None or limits is None:
        return None
    return dc.nominal, *limits, int(dc.tolerance_stated)


def _signal(expectation: Expectation) -> Values | None:
    """A row of table ``signal`` but for its number; no mean where it sits on the pin's DC."""
    waveform = expectation.waveform
    if waveform is None:
        return None
    known = waveform.figures
    mean_v = None if waveform.floats else known.mean_v
    return waveform.kind, known.vpp_v, known.frequency_hz, mean_v


def _resistance(expectation: Expectation) -> Values | None:
    """A row of table ``resistance`` but for its number."""
    resistance = expectation.resistance
    if resistance is None:
        return None
    return _nominal(resistance.red_on_pin), _nominal(resistance.black_on_pin)


def _nominal(quantity: Quantity | None) -> float | None:
    return None if quantity is None else quantity.nominal
