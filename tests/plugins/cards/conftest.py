"""A small invented chip with one of everything that a sheet and a card show."""

from __future__ import annotations

from typing import Any

import pytest
from pinfolio.schema import Chip


def expect(condition: str, dc: str | None = None, **fields: Any) -> dict[str, Any]:
    return {"condition": condition, "dc": dc, "source": {"id": "sheet", "page": 4}, **fields}


SINE = {"kind": "sine", "vpp": "2 Vpp", "frequency": "1 kHz"}
LEVEL = {"kind": "DC level", "level": "4 V"}


def make_pin(number: int, symbol: str, role: str, *expectations: dict[str, Any]) -> dict[str, Any]:
    return {
        "number": number, "symbol": symbol, "function": f"{symbol} of the test",
        "role": role, "expectations": list(expectations),
    }  # fmt: skip


def part(ref: str, kind: str, *joins: str, value: str | None = None) -> dict[str, Any]:
    return {"ref": ref, "kind": kind, "value": value, "joins": list(joins), "purpose": "coupling"}


@pytest.fixture
def chip() -> Chip:
    return Chip.model_validate(
        {
            "file_format": "pinfolio chip 1", "part": "QZ1", "maker": "Nobody",
            "kind": "chroma/luma processor", "summary": "Invented for this test.",
            "invented": True, "package": {"family": "DIP", "pins": 8},
            "supplies": [{"name": "VCC", "pins": [8], "voltage": "12 V"}],
            "sources": [
                {"id": "sheet", "kind": "data sheet", "title": "Sheet", "revision": "B"}
            ],
            "conditions": [
                {"name": "off", "means": "Mains off."},
                {"name": "no signal", "means": "No aerial."},
                {"name": "colour bars", "means": "Bars from a generator."},
            ],
            "pins": [
                make_pin(1, "IN", "input", expect("no signal", "3 V"),
                    expect("colour bars", "3.4 V", waveform=SINE,
                           resistance={"red_on_pin": "4.7 kΩ", "black_on_pin": "5.6 kΩ"})),
                make_pin(2, "OUT", "output", expect("colour bars", "6 V", waveform=SINE),
                    expect("no signal", "5 V", waveform=SINE | {"vpp": "1 Vpp"})),
                make_pin(3, "XTAL", "oscillator", expect("off", resistance={"red_on_pin": "1 MΩ"})),
                make_pin(
                    4, "HV", "control", expect("no signal", "60 V", beyond_supply="for this test")
                ),
                make_pin(5, "PEAK", "control",
                    expect("colour bars", waveform=SINE | {"vpp": "130 Vpp"},
                           beyond_supply="for this test")),
                make_pin(6, "NC", "unused"),
                make_pin(7, "GND", "ground"),
                make_pin(8, "VCC", "supply", expect("no signal", "12 V")),
            ],
            "blocks": [
                {"id": "amp", "name": "amplifier", "inputs": ["pin 1"], "outputs": ["pin 2"],
                 "needs": ["pin 8", "pin 4"]},
            ],
            "application": {
                "parts": [
                    part("C1", "capacitor", "pin 1", "tuner", value="100 nF"),
                    part("R1", "resistor", "pin 2", "pin 4", value="1 kΩ"),
                    part("R2", "resistor", "pin 2", "ground", value="1 kΩ"),
                    part("R3", "resistor", "pin 2", "pin 8", value="1 kΩ"),
                    part("D1", "diode", "pin 2", "pin 5"),
                ],
                "nodes": [{"id": "tuner", "name": "tuner output",
                           "expectations": [expect("colour bars", "2 V")]}],
            },
            "hazards": [
                {"kind": "live chassis", "caution": "Use an isolation transformer."},
                {"kind": "high voltage", "at": "pin 4", "caution": "60 V here.", "probe": False},
                {"kind": "high voltage", "at": "tuner", "caution": "Not for fingers."},
            ],
        }
    )  # fmt: skip
