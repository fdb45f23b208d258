"""A chip file as the truth of a board needs it: parts, joins, roles, and volts of a good set."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml
from pinfolio.schema.quantities import parse_quantity

_UNITS = {
    "resistor": "Ω",
    "potentiometer": "Ω",
    "capacitor": "F",
    "electrolytic capacitor": "F",
    "trimmer capacitor": "F",
    "coil": "H",
    "crystal": "Hz",
    "zener diode": "V",
}


@dataclass(frozen=True)
class DrawnPart:
    """One part around the chip; ``value`` in SI units, None where the kind has no such value."""

    ref: str
    kind: str
    joins: tuple[str, ...]
    value: float | None


@dataclass(frozen=True)
class DrawnChip:
    """Statements of a chip file about one condition; points are ``pin 9`` or the id of a node."""

    path: Path
    name: str
    condition: str
    parts: Mapping[str, DrawnPart]
    roles: Mapping[str, str]
    points: tuple[str, ...]
    nominal_v: Mapping[str, float]
    peak_to_peak_v: Mapping[str, float]
    frequency_hz: Mapping[str, float]
    supplies: tuple[str, ...]
    stages: tuple[str, ...]


def read_chip(path: Path, condition: str) -> DrawnChip:
    """Return the chip file at ``path`` as it is drawn and stated in ``condition``."""
    document = yaml.safe_load(path.read_text(encoding="utf-8"))
    application = document["application"]
    stated = {f"pin {pin['number']}": pin for pin in document["pins"]}
    stated |= {node["id"]: node for node in application["nodes"]}
    expected = {
        point: expectation
        for point, entry in stated.items()
        for expectation in entry.get("expectations", ())
        if expectation["condition"] == condition
    }
    waveforms = {
        point: entry["waveform"] for point, entry in expected.items() if "waveform" in entry
    }
    return DrawnChip(
        path=path,
        name=document["part"],
        condition=condition,
        parts={part["ref"]: _read_part(part) for part in application["parts"]},
        roles={f"pin {pin['number']}": pin["role"] for pin in document["pins"]},
        points=tuple(stated),
        nominal_v={
            point: parse_quantity(entry["dc"], "V").nominal
            for point, entry in expected.items()
            if "dc" in entry
        },
        peak_to_peak_v={
            point: volts
            for point, waveform in waveforms.items()
            if (volts := _peak_to_peak_v(waveform)) is not None
        },
        frequency_hz={
            point: parse_quantity(waveform["frequency"], "Hz").nominal
            for point, waveform in waveforms.items()
            if "frequency" in waveform
        },
        supplies=tuple(supply["name"] for supply in document["supplies"]),
        stages=tuple(block["id"] for block in document.get("blocks", ())),
    )


def _read_part(entry: Mapping[str, Any]) -> DrawnPart:
    kind, value = entry["kind"], entry.get("value")
    unit = _UNITS.get(kind)
    number = parse_quantity(str(value), unit).nominal if unit and value is not None else None
    return DrawnPart(entry["ref"], kind, tuple(entry["joins"]), number)


def _peak_to_peak_v(waveform: Mapping[str, Any]) -> float | None:
    """Stated directly, or between the two levels of a pulse; a control voltage has none."""
    if "vpp" in waveform:
        return float(parse_quantity(waveform["vpp"], "Vpp").nominal)
    if waveform["kind"] == "control voltage" or not {"low", "high"} <= waveform.keys():
        return None
    low_v, high_v = (parse_quantity(waveform[level], "V").nominal for level in ("low", "high"))
    return float(high_v - low_v)
