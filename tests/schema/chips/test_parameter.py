"""Parameters: characteristics of pins, supplies or the chip, in any unit, with their limits."""

from __future__ import annotations

import json
from typing import Any

import pytest
from pinfolio.loaders.chip_files.canonical_text import format_chip_file
from pinfolio.loaders.chip_files.chip_file import read_chip
from pinfolio.loaders.errors import ChipFileError
from pinfolio.schema import Chip
from pinfolio.schema.rules import EXAMPLE_CHIP, advise
from pinfolio.schema.stored import read_stored

LEVEL = "{name: burst key level, symbol: V4, pins: [4], value: min 7.2 V typ 8 V max 8.8 V, "
SOURCE = "source: {id: sheet, page: 3, note: row 12}}"


def read_with(*parameters: str) -> Chip:
    block = "".join(f"  - {each}\n" for each in parameters)
    return read_chip(f"{EXAMPLE_CHIP}parameters:\n{block}".encode(), "qz1000.yaml")


def list_faults(*parameters: str) -> list[str]:
    with pytest.raises(ChipFileError) as refused:
        read_with(*parameters)
    return [fault.message for fault in refused.value.faults]


def test_a_parameter_has_its_limits_in_the_unit_of_its_text() -> None:
    (level,) = read_with(LEVEL + SOURCE).parameters
    assert (level.value.low, level.value.typ, level.value.high) == (7.2, 8.0, 8.8)
    assert (level.value.unit, level.pins, level.symbol) == ("V", (4,), "V4")
    assert (level.source.page, level.source.note) == (3, "row 12")


@pytest.mark.parametrize(
    ("value", "unit", "nominal"),
    [
        ("12 mA", "A", 0.012),
        ("450 mVpp", "Vpp", 0.45),
        ("0.45 V p-p", "Vpp", 0.45),
        ("100 mVrms", "Vrms", 0.1),
        ("3 kHz/V", "Hz/V", 3000),
        ("2 mA/V", "A/V", 0.002),
        ("70 °C", "°C", 70),
        ("50 K/W", "K/W", 50),
        ("50 °C/W", "K/W", 50),
        ("20 mV/V", "V/V", 0.02),
        ("4 V ± 5 %", "V", 4),
        ("50 %", "%", 50),
        ("12 µs", "s", 12e-6),
        ("1.2 .. 1.4 µs", "s", 1.3e-6),
    ],
)
def test_the_unit_is_the_one_behind_the_number(value: str, unit: str, nominal: float) -> None:
    (read,) = read_with(f"{{name: x, value: {value}, {SOURCE}").parameters
    assert (read.value.unit, read.value.nominal) == (unit, pytest.approx(nominal))


@pytest.mark.parametrize("value", ["8", "4k7", "104", "5 lm", "high"])
def test_a_value_without_a_known_unit_is_refused(value: str) -> None:
    (message,) = list_faults(f"{{name: x, value: {value}, {SOURCE}")
    assert "a number with one of the units V, Vpp, A" in message


def test_the_stored_document_gives_the_parameters_back() -> None:
    supply = f"{{name: supply current, supply: VCC, value: typ 40 mA, {SOURCE}"
    made = read_with(LEVEL + "test_condition: no load, " + SOURCE, supply)
    again = read_stored(Chip, json.loads(made.document()))
    assert again.parameters == made.parameters
    assert again.parameters[0].value.text == "min 7.2 V typ 8 V max 8.8 V"


def test_a_pin_has_its_own_parameters_and_those_of_its_supply() -> None:
    supply = f"{{name: supply current, supply: VCC, value: typ 40 mA, {SOURCE}"
    whole = f"{{name: dissipation, value: max 1 W, {SOURCE}"
    made = read_with(LEVEL + SOURCE, supply, whole)
    names = [[p.name for p in made.list_parameters(pin)] for pin in made.pins]
    assert names == [["supply current"], [], [], ["burst key level"]]


def test_unknown_pins_supplies_and_sources_are_refused_with_their_place() -> None:
    messages = list_faults(
        f"{{name: x, pins: [9], value: 1 V, {SOURCE}",
        f"{{name: y, supply: VCCC, value: 1 V, {SOURCE}",
        "{name: z, value: 1 V, source: {id: shet, page: 2}}",
    )
    assert [message.split("; ")[0] for message in sorted(messages)] == [
        "'pin 9' is not in the chip file",
        "source 'shet' is not described in the chip file",
        "supply 'VCCC' is not described in the chip file",
    ]


def test_pins_and_a_supply_at_once_are_refused() -> None:
    (message,) = list_faults(f"{{name: x, pins: [4], supply: VCC, value: 1 V, {SOURCE}")
    assert message == "the parameter has pins and a supply; leave one of the two out"


def test_a_parameter_without_page_is_advised_about() -> None:
    made = read_with("{name: x, value: 1 V, source: {id: sheet}}")
    assert [finding.rule for finding in advise(made)] == ["source-page-missing"]


def test_the_value_is_respelt_by_its_own_unit() -> None:
    text = f"{EXAMPLE_CHIP}parameters:\n  - {{value: min 7.2volt max 8.8V, name: x, {SOURCE}\n"
    assert "{name: x, value: min 7.2 V max 8.8 V, source:" in format_chip_file(text)


def test_the_json_schema_describes_the_value() -> None:
    from pinfolio.schema import chip_json_schema

    schema: dict[str, Any] = chip_json_schema()
    value = schema["$defs"]["Parameter"]["properties"]["value"]
    assert (
        value["description"]
        == "Minimum, typical and maximum, as far as stated, each with its unit."
    )
    assert value["examples"] == ["min 7.2 V typ 8 V max 8.8 V"]
