"""A chip as the rows of the folio's tables."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

from ..schema import Chip, Expectation, Node, Part, Pin
from ..schema.quantity import Quantity
from ..schema.text import part_key

Row = dict[str, Any]

# The column of table `part` that a value goes to, by its unit.
_VALUE_COLUMNS: Final = {
    "Ω": "resistance_ohm",
    "F": "capacitance_f",
    "H": "inductance_h",
    "Hz": "frequency_hz",
    "s": "delay_s",
    "V": "zener_v",
}


def chip_rows(chip: Chip, first_pin_id: int) -> dict[str, list[Row]]:
    """Rows by table, in an order that foreign keys allow; its pins are numbered on from an id."""
    return {
        "chip": [_chip_row(chip)],
        "marking": list(_marking_rows(chip)),
        "relation": list(_relation_rows(chip)),
        "chip_system": [{"chip": chip.part, "system": system} for system in chip.systems],
        "supply": list(_supply_rows(chip)),
        "source": [{"chip": chip.part, **source.model_dump()} for source in chip.sources],
        "condition": [{"chip": chip.part, **state.model_dump()} for state in chip.conditions],
        "block": [{"chip": chip.part, "id": b.id, "name": b.name} for b in chip.blocks],
        "block_end": list(_block_end_rows(chip)),
        "part": [_part_row(chip, part) for part in chip.application.parts],
        "part_end": list(_part_end_rows(chip)),
        "node": [{"chip": chip.part, "id": n.id, "name": n.name} for n in chip.application.nodes],
        "hazard": list(_hazard_rows(chip)),
        "pin": list(_pin_rows(chip, first_pin_id)),
        "expectation": list(_expectation_rows(chip, first_pin_id)),
    }


def chip_document(chip: Chip) -> str:
    """The chip as JSON in one spelling: fields in the order of the model, defaults left out."""
    return chip.model_dump_json(exclude_defaults=True)


def _chip_row(chip: Chip) -> Row:
    return {
        "part": chip.part,
        "part_key": part_key(chip.part),
        "maker": chip.maker,
        "kind": chip.kind,
        "summary": chip.summary,
        "invented": int(chip.invented),
        "package": chip.package.name,
        "family": chip.package.family,
        "pin_count": len(chip.pins),
        "markings": ", ".join(chip.markings),
        "document": chip_document(chip),
    }


def _marking_rows(chip: Chip) -> Iterator[Row]:
    for text in dict.fromkeys((chip.part, *chip.markings)):
        yield {"chip": chip.part, "text": text, "key": part_key(text)}


def _relation_rows(chip: Chip) -> Iterator[Row]:
    for name, relations in (("replaces", chip.replaces), ("similar", chip.similar)):
        for relation in relations:
            yield {"chip": chip.part, "relation": name, **relation.model_dump()}


def _supply_rows(chip: Chip) -> Iterator[Row]:
    for supply in chip.supplies:
        yield {
            "chip": chip.part,
            "name": supply.name,
            "pins": ", ".join(map(str, supply.pins)),
            "typ_v": supply.voltage.nominal,
            "min_v": supply.voltage.low,
            "max_v": supply.voltage.high,
            "current_a": _nominal(supply.current),
        }


def _block_end_rows(chip: Chip) -> Iterator[Row]:
    for block in chip.blocks:
        ends = {"input": block.inputs, "output": block.outputs, "need": block.needs}
        for direction, endpoints in ends.items():
            for endpoint in endpoints:
                yield {
                    "chip": chip.part,
                    "block": block.id,
                    "direction": direction,
                    "endpoint": endpoint,
                }


def _part_row(chip: Chip, part: Part) -> Row:
    row: Row = {"chip": chip.part, "ref": part.ref, "kind": part.kind, "value": part.value}
    row |= dict.fromkeys(_VALUE_COLUMNS.values())
    if part.quantity is not None:
        row[_VALUE_COLUMNS[part.quantity.unit]] = part.quantity.nominal
    return row | {
        "tolerance_percent": _nominal(part.tolerance),
        "rating_v": _nominal(part.rating),
        "dielectric": part.dielectric,
        "purpose": part.purpose,
        "why": part.why,
    }


def _part_end_rows(chip: Chip) -> Iterator[Row]:
    for part in chip.application.parts:
        for position, endpoint in enumerate(part.joins, start=1):
            yield {
                "chip": chip.part,
                "ref": part.ref,
                "position": position,
                "endpoint": endpoint,
            }


def _hazard_rows(chip: Chip) -> Iterator[Row]:
    for hazard in chip.hazards:
        yield {
            "chip": chip.part,
            "kind": hazard.kind,
            "endpoint": hazard.at,
            "caution": hazard.caution,
            "probe": int(hazard.probe),
        }


def _pin_rows(chip: Chip, first_id: int) -> Iterator[Row]:
    for pin_id, pin in enumerate(chip.pins, start=first_id):
        yield {
            "id": pin_id,
            "chip": chip.part,
            "number": pin.number,
            "symbol": pin.symbol,
            "function": pin.function,
            "role": pin.role,
            "absolute_maximum_v": _nominal(pin.absolute_maximum),
            "resistance_ohm": _nominal(pin.resistance),
            "capacitance_f": _nominal(pin.capacitance),
            "blocks": ", ".join(_blocks_at(chip, pin)),
        }


def _blocks_at(chip: Chip, pin: Pin) -> Iterator[str]:
    """Names of the stages whose signal enters or leaves at the pin."""
    end = f"pin {pin.number}"
    return (block.name for block in chip.blocks if end in (*block.inputs, *block.outputs))


def _expectation_rows(chip: Chip, first_pin_id: int) -> Iterator[Row]:
    for pin_id, pin in enumerate(chip.pins, start=first_pin_id):
        yield from _place_rows(chip, pin, {"pin": pin_id, "node": None})
    for node in chip.application.nodes:
        yield from _place_rows(chip, node, {"pin": None, "node": node.id})


def _place_rows(chip: Chip, place: Pin | Node, key: Row) -> Iterator[Row]:
    for expectation in place.expectations:
        yield {
            "chip": chip.part,
            **key,
            "condition": expectation.condition,
            **_dc_columns(expectation),
            **_waveform_columns(expectation),
            **_resistance_columns(expectation),
            "source": expectation.source.id,
            "page": expectation.source.page,
        }


def _dc_columns(expectation: Expectation) -> Row:
    dc, limits = expectation.dc, expectation.dc_limits_v()
    if dc is None or limits is None:
        return dict.fromkeys(("dc_typ_v", "dc_min_v", "dc_max_v", "dc_stated"))
    return {
        "dc_typ_v": dc.nominal,
        "dc_min_v": limits[0],
        "dc_max_v": limits[1],
        "dc_stated": int(dc.tolerance_stated),
    }


def _waveform_columns(expectation: Expectation) -> Row:
    waveform = expectation.waveform
    if waveform is None:
        return dict.fromkeys(("waveform_kind", "vpp_v", "frequency_hz", "mean_v"))
    adrift = waveform.floats and expectation.dc is None  # its shape is known, its level is not
    return {
        "waveform_kind": waveform.kind,
        "vpp_v": waveform.vpp_v,
        "frequency_hz": waveform.frequency_hz,
        "mean_v": None if adrift else waveform.mean_v + expectation.offset_v,
    }


def _resistance_columns(expectation: Expectation) -> Row:
    resistance = expectation.resistance
    return {
        "red_on_pin_ohm": _nominal(resistance.red_on_pin) if resistance else None,
        "black_on_pin_ohm": _nominal(resistance.black_on_pin) if resistance else None,
    }


def _nominal(quantity: Quantity | None) -> float | None:
    return None if quantity is None else quantity.nominal
