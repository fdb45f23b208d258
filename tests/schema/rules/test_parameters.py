"""Waveforms against the parameters of their pin; the levels are those of common practice."""

from __future__ import annotations

from typing import Any

import pytest
import yaml
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.schema.chips.data import ChipData
from pinfolio.schema.chips.level_words import find_stated_field
from pinfolio.schema.rules.example import EXAMPLE_CHIP
from pinfolio.schema.rules.parameters import find_broken_parameters

SANDCASTLE = {
    "kind": "sandcastle", "system": "PAL-B/G", "burst_key": "6 V", "line_blanking": "4.5 V",
    "field_blanking": "2.5 V",
}  # fmt: skip
SINE = {"kind": "sine", "frequency": "4.43 MHz", "vpp": "0.5 Vpp"}


def find_problems(waveform: dict[str, Any], name: str, value: str, pin: int = 4) -> list[str]:
    document = yaml.load(EXAMPLE_CHIP, Loader=yaml.BaseLoader)
    source = {"id": "sheet", "page": "2"}
    shown = {"condition": "colour bars", "waveform": waveform, "source": source}
    document["pins"][3]["expectations"] = [shown]
    document["parameters"] = [{"name": name, "pins": [pin], "value": value, "source": source}]
    return [p.problem for p in find_broken_parameters(ChipData.model_validate(document))]


def test_a_level_beyond_its_stated_limits_is_named() -> None:
    (problem,) = find_problems(SANDCASTLE, "burst key level", "min 7.2 V typ 8 V max 8.8 V")
    assert problem == (
        "pin 4 has burst key 6 V, but parameter 'burst key level' states"
        " min 7.2 V typ 8 V max 8.8 V"
    )


@pytest.mark.parametrize(
    ("waveform", "name", "value"),
    [
        (SANDCASTLE, "burst key level", "min 5.5 V max 6.5 V"),
        (SANDCASTLE, "line blanking level", "typ 4.5 V"),
        (SANDCASTLE, "output saturation voltage", "0.3 V"),
        (SANDCASTLE, "burst key switching threshold", "1 V"),
        (SINE, "output amplitude", "typ 0.55 Vpp"),
        (SINE, "output signal", "typ 0.2 V"),
        (SINE, "signal for limiting", "10 mVpp"),
    ],
)
def test_agreeing_levels_and_other_voltages_are_left_alone(
    waveform: dict[str, Any], name: str, value: str
) -> None:
    assert find_problems(waveform, name, value) == []


def test_a_parameter_of_another_pin_is_not_compared() -> None:
    assert find_problems(SANDCASTLE, "burst key level", "8 V", pin=3) == []
    assert len(find_problems(SINE, "output amplitude", "1 Vpp")) == 1


def test_words_that_name_a_field() -> None:
    assert (
        find_stated_field("sandcastle", "horizontal blanking pulse level", "V") == "line_blanking"
    )
    assert find_stated_field("sandcastle", "vertical blanking level", "V") == "field_blanking"
    assert find_stated_field("sandcastle", "burst key level", "A") is None
    assert find_stated_field("sine", "absolute maximum: signal", "Vpp") is None


def test_no_chip_of_the_demonstration_is_advised_about() -> None:
    assert [p for file in chip_files() for p in find_broken_parameters(load_chip(file))] == []
