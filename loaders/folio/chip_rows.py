"""Make the rows of the folio's tables from a chip.

Rows are tuples in the order of ``COLUMNS``. Pins and stages are numbered within the chip, from 0;
``row_writer`` replaces that by ids, and stores equal conditions, levels, signals and resistances
only once.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

from ...schema import Chip, Expectation, Part
from ...schema.quantities import Quantity
from ...schema.text import part_key

Row = dict[str, Any]
Values = tuple[Any, ...]

_EXPECTATION_COLUMNS: Final = ("condition", "dc", "signal", "resistance", "source", "page")

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
    "parameter": (
        "chip", "number", "name", "symbol", "pins", "supply", "min", "typ", "max", "unit",
        "test_condition", "note", "source", "page", "place",
    ),
    "hazard": ("chip", "kind", "endpoint", "caution", "probe"),
    "pin": (
        "id", "chip", "number", "symbol", "function", "role", "absolute_maximum_v",
        "resistance_ohm", "capacitance_f", "blocks",
    ),
    "pin_expectation": ("pin", *_EXPECTATION_COLUMNS),
    "node_expectation": ("chip", "node", *_EXPECTATION_COLUMNS),
}  # fmt: skip
"""The columns of each table that chips have rows in."""

# Units of the value columns of table `part`, in their order.
_VALUE_UNITS: Final = ("Ω", "F", "H", "Hz", "s", "V")


def make_chip_rows(chip: Chip) -> dict[str, list[Values]]:
    """Return the rows of a chip by table.

    Rows of ``pin`` and ``pin_expectation`` begin with the index of the pin, rows of ``block`` with
    that of the block. Shared values (condition, level, signal, resistance) are tuples.
    """
    part, application = chip.part, chip.application
    return {
        "chip": [_make_chip_row(chip)],
        "marking": list(_make_marking_rows(chip)),
        "relation": list(_make_relation_rows(chip)),
        "chip_system": [(part, system) for system in chip.systems],
        "supply": list(_make_supply_rows(chip)),
        "source": [
            (part, place, source.id, source.kind, source.title, source.revision, source.date)
            for place, source in enumerate(chip.sources)
        ],
        "block": list(_make_block_rows(chip)),
        "part": [_make_part_row(chip, each) for each in application.parts],
        "part_end": list(_make_part_end_rows(chip)),
        "node": [(part, node.id, node.name) for node in application.nodes],
        "parameter": list(_make_parameter_rows(chip)),
        "hazard": list(_make_hazard_rows(chip)),
        "pin": list(_make_pin_rows(chip)),
        "pin_expectation": list(_make_pin_expectation_rows(chip)),
        "node_expectation": list(_make_node_expectation_rows(chip)),
    }


def _make_chip_row(chip: Chip) -> Values:
    """Return the row of a chip in table ``chip``."""
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


def _make_marking_rows(chip: Chip) -> Iterator[Values]:
    for text in dict.fromkeys((chip.part, *chip.markings)):
        yield chip.part, text, part_key(text)


def _make_relation_rows(chip: Chip) -> Iterator[Values]:
    for name, relations in (("replaces", chip.replaces), ("similar", chip.similar)):
        for relation in relations:
            yield chip.part, name, relation.part, relation.note


def _make_supply_rows(chip: Chip) -> Iterator[Values]:
    for supply in chip.supplies:
        pins, voltage = ", ".join(map(str, supply.pins)), supply.voltage
        volts = voltage.nominal, voltage.low, voltage.high
        yield chip.part, supply.name, pins, *volts, _get_nominal(supply.current)


def _make_block_rows(chip: Chip) -> Iterator[Values]:
    for place, block in enumerate(chip.blocks):
        ends = (", ".join(each) for each in (block.inputs, block.outputs, block.needs))
        yield place, chip.part, block.id, block.name, *ends


def _make_part_row(chip: Chip, part: Part) -> Values:
    quantity = part.quantity
    unit = quantity.unit if quantity else None
    value = _get_nominal(quantity)
    return (
        *(chip.part, part.ref, part.kind, part.value),
        *(value if unit == each else None for each in _VALUE_UNITS),
        *(_get_nominal(part.tolerance), _get_nominal(part.rating)),
        *(part.dielectric, part.purpose, part.why),
    )


def _make_part_end_rows(chip: Chip) -> Iterator[Values]:
    for part in chip.application.parts:
        for position, endpoint in enumerate(part.joins, start=1):
            yield chip.part, part.ref, position, endpoint


def _make_parameter_rows(chip: Chip) -> Iterator[Values]:
    for number, parameter in enumerate(chip.parameters):
        value, source = parameter.value, parameter.source
        yield (
            *(chip.part, number, parameter.name, parameter.symbol),
            *(", ".join(map(str, parameter.pins)) or None, parameter.supply),
            *(value.low, value.typ, value.high, value.unit),
            *(parameter.test_condition, parameter.note, source.id, source.page, source.note),
        )


def _make_hazard_rows(chip: Chip) -> Iterator[Values]:
    for hazard in chip.hazards:
        yield chip.part, hazard.kind, hazard.at, hazard.caution, int(hazard.probe)


def _make_pin_rows(chip: Chip) -> Iterator[Values]:
    """Yield the rows of a chip's pins in table ``pin``; the last column lists a pin's stages."""
    stages_of = _find_stages(chip)
    for index, pin in enumerate(chip.pins):
        yield (
            index,  # replaced by the pin's id when the chip is inserted
            chip.part,
            pin.number,
            pin.symbol,
            pin.function,
            pin.role,
            _get_nominal(pin.absolute_maximum),
            _get_nominal(pin.resistance),
            _get_nominal(pin.capacitance),
            ", ".join(stages_of.get(f"pin {pin.number}", ())),
        )


def _find_stages(chip: Chip) -> dict[str, list[str]]:
    """Return the names of the stages whose signal enters or leaves at each endpoint."""
    stages: dict[str, list[str]] = {}
    for block in chip.blocks:
        for end in dict.fromkeys((*block.inputs, *block.outputs)):
            stages.setdefault(end, []).append(block.name)
    return stages


def _make_pin_expectation_rows(chip: Chip) -> Iterator[Values]:
    maker = _ExpectationRows(chip)
    for place, pin in enumerate(chip.pins):
        for expectation in pin.expectations:
            yield place, *maker.make_values(expectation)


def _make_node_expectation_rows(chip: Chip) -> Iterator[Values]:
    maker = _ExpectationRows(chip)
    for node in chip.application.nodes:
        for expectation in node.expectations:
            yield chip.part, node.id, *maker.make_values(expectation)


class _ExpectationRows:
    """Makes the expectation columns of one chip; sources are given by their index."""

    def __init__(self, chip: Chip) -> None:
        self._conditions = {state.name: (state.name, state.means) for state in chip.conditions}
        self._sources = {source.id: place for place, source in enumerate(chip.sources)}

    def make_values(self, expectation: Expectation) -> Values:
        """Return the columns in ``_EXPECTATION_COLUMNS``."""
        return (
            self._conditions[expectation.condition],
            _make_level(expectation),
            _make_signal(expectation),
            _make_resistance(expectation),
            self._sources[expectation.source.id],
            expectation.source.page,
        )


def _make_level(expectation: Expectation) -> Values | None:
    """Return a row of table ``level`` without its id."""
    dc, limits = expectation.dc, expectation.dc_limits_v()
    if dc is None or limits is None:
        return None
    return dc.nominal, *limits, int(dc.tolerance_stated)


def _make_signal(expectation: Expectation) -> Values | None:
    """Return a row of table ``signal`` without its id; the mean is None if the pin's DC sets it."""
    waveform = expectation.waveform
    if waveform is None:
        return None
    figures = waveform.figures
    mean_v = None if waveform.floats else figures.mean_v
    return waveform.kind, figures.vpp_v, figures.frequency_hz, mean_v


def _make_resistance(expectation: Expectation) -> Values | None:
    """Return a row of table ``resistance`` without its id."""
    resistance = expectation.resistance
    if resistance is None:
        return None
    return _get_nominal(resistance.red_on_pin), _get_nominal(resistance.black_on_pin)


def _get_nominal(quantity: Quantity | None) -> float | None:
    return None if quantity is None else quantity.nominal
