"""Values that no television has, by their field and by their unit; common practice."""

from __future__ import annotations

from typing import Any

import pytest
import yaml
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.schema.chips.data import ChipData
from pinfolio.schema.rules.example import EXAMPLE_CHIP
from pinfolio.schema.rules.magnitudes import find_unlikely_sizes
from pinfolio.schema.rules.rule import Problem

SOURCE = {"id": "sheet", "page": "2"}


def find_advice(**changed: Any) -> list[Problem]:
    document = yaml.load(EXAMPLE_CHIP, Loader=yaml.BaseLoader) | changed
    return list(find_unlikely_sizes(ChipData.model_validate(document)))


def make_part(kind: str, value: str) -> dict[str, Any]:
    return {"parts": [{"ref": "X1", "kind": kind, "value": value, "joins": ["pin 3", "ground"]}]}


@pytest.mark.parametrize("voltage", ["8 mV", "8 kV", "min 7.2 V typ 8 V max 8.8 kV"])
def test_a_supply_of_another_prefix(voltage: str) -> None:
    (problem,) = find_advice(supplies=[{"name": "VCC", "pins": ["1"], "voltage": voltage}])
    assert problem.at == ("supplies", 0, "voltage")
    assert problem.problem == f"{voltage} is no likely voltage, which is 500 mV to 500 V"
    assert problem.write is None


@pytest.mark.parametrize(
    ("kind", "value"),
    [
        ("crystal", "4.433619 Hz"),
        ("capacitor", "100 mF"),
        ("resistor", "10 GΩ"),
        ("coil", "10 kH"),
        ("delay line", "64 s"),
        ("electrolytic capacitor", "47 pF"),
    ],
)
def test_a_part_of_another_prefix(kind: str, value: str) -> None:
    (problem,) = find_advice(application=make_part(kind, value))
    assert problem.at == ("application", "parts", 0, "value")


@pytest.mark.parametrize(
    ("kind", "value"),
    [("crystal", "4.433619 MHz"), ("capacitor", "100 nF"), ("resistor", "0R22"), ("coil", "10 µH")],
)
def test_usual_parts_are_left_alone(kind: str, value: str) -> None:
    assert find_advice(application=make_part(kind, value)) == []


def test_millihertz_of_a_parameter_are_megahertz() -> None:
    (problem,) = find_advice(
        parameters=[{"name": "crystal frequency", "value": "4.43 mHz", "source": SOURCE}]
    )
    assert problem.write == "4.43 MHz"


def test_no_chip_of_the_demonstration_is_advised_about() -> None:
    assert [p for file in chip_files() for p in find_unlikely_sizes(load_chip(file))] == []
