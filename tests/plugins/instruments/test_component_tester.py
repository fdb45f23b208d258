"""A component tester at a pin: shapes in words, parts counted, and cautions."""

from __future__ import annotations

from typing import Any

import pytest
from pinfolio.plugins.instruments.component_tester import (
    SAFETY,
    SetOffView,
    make_part_load,
    view_with_tester,
)
from pinfolio.schema import Chip
from pinfolio.schema.chips.application import Hazard, Part
from pinfolio.schema.instruments.ordinary import BUILT_IN

TESTER = BUILT_IN.testers["component tester"]


def make_chip(*parts: dict[str, Any], **pin_one: Any) -> Chip:
    """A chip of eight pins with the given parts; pin 1 as given, pin 8 its ground."""
    return Chip.model_validate(
        {
            "file_format": "pinfolio chip 1",
            "part": "QZ1",
            "maker": "Nobody",
            "kind": "chroma/luma processor",
            "summary": "Invented for this test.",
            "invented": True,
            "package": {"family": "DIP", "pins": 8},
            "supplies": [{"name": "VCC", "pins": [7], "voltage": "9 V"}],
            "sources": [{"id": "sheet", "kind": "data sheet", "title": "Sheet"}],
            "conditions": [{"name": "off", "means": "Set off."}],
            "pins": [
                {"number": 1, "symbol": "A", "function": "input", "role": "input", **pin_one},
                *(
                    {"number": n, "symbol": f"B{n}", "function": "input", "role": "input"}
                    for n in range(2, 7)
                ),
                {"number": 7, "symbol": "VCC", "function": "supply", "role": "supply"},
                {"number": 8, "symbol": "GND", "function": "ground", "role": "ground"},
            ],
            "blocks": [],
            "application": {"parts": parts},
        }
    )


def look(*parts: dict[str, Any], tester: str = TESTER.name, **pin_one: Any) -> SetOffView:
    chip = make_chip(*parts, **pin_one)
    return view_with_tester(chip, chip.pins[0], BUILT_IN.choose_tester(tester))


@pytest.mark.parametrize(
    ("kind", "value", "shape"),
    [
        ("resistor", "1k", "slanted line"),
        ("resistor", "1R", "vertical line, as of a short"),
        ("resistor", "1M", "horizontal line, as of an open circuit"),
        ("capacitor", "1 µF", "upright ellipse"),
        ("capacitor", "1 nF", "horizontal line, as of an open circuit"),
        ("electrolytic capacitor", "470 µF", "vertical line, as of a short"),
        ("coil", "10 mH", "vertical line, as of a short"),
        ("crystal", "4 MHz", "horizontal line, as of an open circuit"),
        ("connector", None, "vertical line, as of a short"),
        ("diode", None, "one corner, at +600 mV"),
        ("zener diode", "4.7 V", "two corners, at −4.7 V and +600 mV"),
        ("zener diode", "24 V", "one corner, at +600 mV"),
    ],
)
def test_each_kind_of_part_has_its_shape(kind: str, value: str | None, shape: str) -> None:
    (part,) = look({"ref": "X1", "kind": kind, "value": value, "joins": ["pin 1", "pin 2"]}).parts
    assert part.of == "X1"
    assert part.shape == shape


def test_a_diode_the_other_way_round_has_its_corner_on_the_left() -> None:
    (part,) = look({"ref": "D1", "kind": "diode", "joins": ["ground", "pin 1"]}).parts
    assert part.words == "one corner, at −600 mV; −663 mV to +8.49 V across, −7.82 mA to 0 A up"


def test_a_resistor_in_figures() -> None:
    (part,) = look(
        {"ref": "R1", "kind": "resistor", "value": "1k", "joins": ["pin 1", "pin 2"]}
    ).parts
    assert part.words == "slanted line; ± 4.24 V across, ± 4.24 mA up"


def test_the_pin_has_the_parts_to_ground_and_its_own_junction() -> None:
    view = look(
        {"ref": "R1", "kind": "resistor", "value": "1k", "joins": ["pin 1", "pin 8"]},
        {"ref": "C1", "kind": "capacitor", "value": "1 µF", "joins": ["ground", "pin 1"]},
        {"ref": "R2", "kind": "resistor", "value": "1k", "joins": ["pin 1", "pin 2"]},
    )
    assert view.counted == ("R1 1k", "C1 1 µF", "the chip's junction to ground")
    assert view.pin is not None
    assert view.pin.shape == "one corner, at −650 mV, opened into a loop"


def test_a_stated_resistance_comprises_the_resistors() -> None:
    stated = {
        "condition": "off",
        "resistance": {"red_on_pin": "2 kΩ", "black_on_pin": "1 kΩ"},
        "source": {"id": "sheet"},
    }
    view = look(
        {"ref": "R1", "kind": "resistor", "value": "1k", "joins": ["pin 1", "ground"]},
        tester="low-voltage tester",
        expectations=[stated],
    )
    assert view.counted == ("the stated resistance to ground", "the chip's junction to ground")
    assert view.pin is not None
    # 1.41 V peak behind 1 kΩ: two thirds of it across 2 kΩ, and the junction at the other side.
    assert view.pin.figure.span_v[1] == pytest.approx(2**0.5 * 2 / 3, rel=1e-4)
    assert view.pin.shape == "one corner, at −650 mV"


def test_nothing_known_is_said() -> None:
    view = look({"ref": "Q1", "kind": "transistor", "joins": ["pin 1", "pin 2", "ground"]})
    assert view.pin is None
    assert view.parts == ()
    assert any(remark.startswith("No resistance to ground is stated") for remark in view.remarks)


def test_safety_is_first_and_strain_is_named() -> None:
    weak = look(absolute_maximum="5 V")
    assert weak.remarks[0] == SAFETY
    assert "pin 1 must never be above 5 V: use a tester of lower voltage" in weak.remarks[1]
    assert "not for parts that bear less" in look().remarks[1]
    assert (
        "lower voltage" not in look(absolute_maximum="5 V", tester="low-voltage tester").remarks[1]
    )


def test_a_small_electrolytic_is_driven_backwards() -> None:
    small = {"ref": "C1", "kind": "electrolytic capacitor", "value": "1 µF"}
    joined = {"joins": ["pin 1", "ground"]}
    assert any("C1: half of each period" in one for one in look(small | joined).remarks)
    large = small | joined | {"value": "470 µF"}
    assert not any("C1" in one for one in look(large).remarks)


def test_a_pin_that_must_not_be_probed_is_left_alone() -> None:
    chip = make_chip({"ref": "R1", "kind": "resistor", "value": "1k", "joins": ["pin 1", "ground"]})
    hazard = Hazard(kind="high voltage", at="pin 1", caution="Do not touch.", probe=False)
    barred = chip.model_copy(update={"hazards": (hazard,)})
    view = view_with_tester(barred, barred.pins[0], TESTER)
    assert view.pin is None
    assert "Do not connect it to pin 1, which must not be probed." in view.remarks


def test_a_part_without_a_value_has_no_figure() -> None:
    part = Part.model_validate({"ref": "R1", "kind": "resistor", "joins": ["pin 1", "ground"]})
    assert make_part_load(part, "pin 1") is None


def test_the_document_has_the_figure_as_points() -> None:
    document = look(
        {"ref": "R1", "kind": "resistor", "value": "1k", "joins": ["pin 1", "ground"]}
    ).document()
    assert document["tester"] == "component tester"
    assert document["open_peak_v"] == 8.485
    (part,) = document["parts"]
    assert len(part["v"]) == len(part["a"]) == 72
    assert max(part["v"]) == part["span_v"][1] == 4.243
