"""Invented chips for the tests of this folder: one in full, and as many as Hypothesis likes."""

from __future__ import annotations

import string
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import strategies as st
from pinfolio.loaders.folio.build import build_from_chips
from pinfolio.loaders.folio.folio import Folio, open_folio
from pinfolio.schema import Chip
from pinfolio.schema.text import part_key
from pinfolio.schema.vocabulary import KINDS, ROLES

Fields = dict[str, Any]


def _draw_pin(number: int, symbol: str, function: str, role: str, *shows: Fields) -> Fields:
    expectations = [
        {"condition": "colour bars", "source": {"id": "sheet", "page": 7}, **values}
        for values in shows
    ]
    return {
        "number": number,
        "symbol": symbol,
        "function": function,
        "role": role,
        "expectations": expectations,
    }


def _make_fields(part: str) -> Fields:
    """A small television processor with something for every table of the folio."""
    return {
        "part": part,
        "maker": "Tannhof Halbleiter",
        "kind": "jungle",
        "summary": "Small television processor. Invented example.",
        "invented": True,
        "systems": ["PAL-B/G"],
        "package": {"family": "DIP", "pins": 8},
        "markings": [f"{part}N", f"µ{part}"],
        "replaces": [{"part": "QZ0001", "note": "same pins"}],
        "similar": [{"part": "QZ0002"}],
        "supplies": [{"name": "VCC", "pins": [8], "voltage": "8 V ± 5 %", "current": "60 mA"}],
        "sources": [{"id": "sheet", "kind": "data sheet", "title": "Preliminary data"}],
        "conditions": [{"name": "colour bars", "means": "Bars at the aerial socket."}],
        "parameters": [
            {
                "name": "supply current",
                "supply": "VCC",
                "value": "typ 40 mA max 60 mA",
                "source": {"id": "sheet", "page": 3, "note": "row 2"},
            },
        ],
        "hazards": [
            {"kind": "live chassis", "caution": "Isolate the set."},
            {"kind": "high voltage", "at": "collector", "caution": "Keep off.", "probe": False},
        ],
        "blocks": [
            {
                "id": "sync",
                "name": "sync separator",
                "inputs": ["pin 1"],
                "outputs": ["killer"],
                "needs": ["pin 8"],
            },
            {"id": "killer", "name": "killer detector", "inputs": ["sync"], "outputs": ["pin 2"]},
        ],
        "application": {
            "parts": [
                {"ref": "C1", "kind": "capacitor", "value": "8p2", "joins": ["pin 1", "ground"]},
                {"ref": "R1", "kind": "resistor", "value": "4k7", "joins": ["pin 6", "collector"]},
                {
                    "ref": "D1",
                    "kind": "zener diode",
                    "value": "8.2 V",
                    "joins": ["pin 8", "ground"],
                },
            ],
            "nodes": [
                _draw_node("collector", "collector of the line driver", {"dc": "60 V"}),
            ],
        },
        "pins": [
            _draw_pin(
                1,
                "CVBS IN",
                "composite video input",
                "input",
                {
                    "dc": "3.1 V ± 10 %",
                    "waveform": {"kind": "sine", "frequency": "1 kHz", "vpp": "1 Vpp"},
                    "resistance": {"red_on_pin": "12 kΩ", "black_on_pin": "8.4 kΩ"},
                },
            )
            | {"absolute_maximum": "9 V", "resistance": "10 kΩ", "capacitance": "8 pF"},
            _draw_pin(2, "KILL", "colour killer filter", "filter", {"dc": "2.5 V"}),
            _draw_pin(3, "BGP", "burst key pulse input", "input"),
            _draw_pin(4, "GND", "ground", "ground"),
            _draw_pin(5, "AFC", "line phase detector filter", "filter"),
            _draw_pin(6, "H OUT", "line drive output", "output"),
            _draw_pin(7, "NC", "not connected", "unused"),
            _draw_pin(8, "VCC", "supply", "supply"),
        ],
    }


def _draw_node(name: str, place: str, shows: Fields) -> Fields:
    return {
        "id": name,
        "name": place,
        "expectations": _draw_pin(0, "", "", "", shows)["expectations"],
    }


ChipMaker = Callable[..., Chip]


@pytest.fixture(scope="session")
def invented_chip() -> ChipMaker:
    """Call it with a part number, and with fields to be different."""
    return lambda part="QZ5710", **changes: Chip.model_validate(_make_fields(part) | changes)


@pytest.fixture
def folio_of(tmp_path: Path) -> Iterable[Callable[..., Folio]]:
    """Build a folio of some chips, and open it."""
    opened: list[Folio] = []

    def build_and_open(*chips: Chip) -> Folio:
        path = tmp_path / f"{len(opened)}.db"
        build_from_chips(chips, path)
        opened.append(open_folio(path))
        return opened[-1]

    yield build_and_open
    for folio in opened:
        folio.close()


# Whatever a person, or somebody hostile, may write; spaces alone are no text.
texts = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=30).filter(str.strip)
part_numbers = st.text(string.ascii_letters + string.digits + " -/.µ", min_size=1, max_size=12)
part_numbers = part_numbers.filter(part_key)


# Another chip, whatever this one is called.
_relations = st.builds(dict, part=texts.map(lambda text: f"other {text}"), note=texts)


@st.composite
def _draw_chip(draw: st.DrawFn) -> Chip:
    """A valid chip with texts of every sort, and few or many of each repeatable entry."""
    fields = _make_fields(draw(part_numbers))
    fields |= {
        "maker": draw(texts),
        "kind": draw(st.sampled_from(KINDS)),
        "summary": draw(texts),
        "invented": draw(st.booleans()),
        "markings": draw(st.lists(part_numbers, max_size=3)),
        "replaces": draw(st.lists(_relations, max_size=2)),
        "hazards": fields["hazards"][: draw(st.integers(0, 2))],
    }
    for pin in fields["pins"]:
        pin["function"] = draw(texts)
        if pin["role"] not in ("supply", "ground"):
            pin["role"] = draw(st.sampled_from(sorted({*ROLES} - {"supply", "ground"})))
            pin["expectations"] = draw(_expectations)
    return Chip.model_validate(fields)


_volts = st.integers(0, 7900).map(lambda millivolts: f"{millivolts / 1000:g} V")
_expectations = st.lists(_volts, max_size=1).map(
    lambda found: _draw_pin(0, "", "", "", *({"dc": dc} for dc in found))["expectations"]
)

st.register_type_strategy(Chip, _draw_chip())
