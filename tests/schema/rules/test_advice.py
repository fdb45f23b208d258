"""Advice: when it is given, when it is silent, and the text it offers to paste."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.loaders.chip_files.yaml_positions import read_yaml
from pinfolio.schema import Chip, Finding
from pinfolio.schema.rules import EXAMPLE_CHIP, advise

Fields = dict[str, Any]
Change = Callable[[Fields], Any]


def list_advice(*changes: Change) -> tuple[Finding, ...]:
    fields: Fields = read_yaml(EXAMPLE_CHIP.encode(), "example").data
    for change in changes:
        change(fields)
    return advise(Chip.model_validate(fields))


def set_pin(number: int, **new: Any) -> Change:
    return lambda chip: chip["pins"][number - 1].update(new)


def show(number: int, **new: Any) -> Change:
    return lambda chip: chip["pins"][number - 1]["expectations"][0].update(new)


def add(number: int, condition: str, **values: Any) -> Change:
    """Add an expectation of a pin in another condition."""

    def change(chip: Fields) -> None:
        if condition not in [c["name"] for c in chip["conditions"]]:
            chip["conditions"].append({"name": condition, "means": "Another state of the set."})
        more = {"condition": condition, "source": {"id": "sheet", "page": 3}, **values}
        chip["pins"][number - 1]["expectations"].append(more)

    return change


def make_sine(vpp: str) -> Fields:
    return {"kind": "sine", "frequency": "1 kHz", "vpp": vpp}


def split_supply(chip: Fields) -> None:
    chip["supplies"].append({"name": "VEE", "pins": [2], "voltage": "-8 V"})
    chip["pins"][1].update(role="supply", symbol="VEE")
    chip["pins"][1]["expectations"][0]["dc"] = "-8 V"


@pytest.mark.parametrize("path", chip_files(), ids=lambda path: path.stem)
def test_the_demo_chips_need_none(path: Any) -> None:
    assert advise(load_chip(path)) == (), (
        f"{path.name} of the demonstration needs advice; correct the chip file, or the check"
    )


GIVEN: list[tuple[str, list[Change], str, str | None]] = [
    ("dc-missing", [set_pin(4, expectations=[])], "pin 4 has no DC in 'colour bars'",
     "- {condition: colour bars, dc: … V, source: {id: sheet, page: …}}"),
    ("dc-missing", [show(4, dc=None, resistance={"red_on_pin": "5 kΩ"})],
     "pin 4 has no DC beside these values", "dc: … V"),
    ("dc-missing", [add(3, "no signal", waveform=make_sine("1 Vpp"))],  # nobody else has it, but
     "pin 3 has no DC beside these values", "dc: … V"),  # the sine has no mean
    ("source-page-missing", [show(3, source={"id": "sheet"})], "sheet is given without a page",
     "page: …"),
    ("dc-for-role", [show(2, dc="0.3 V")], "ground pin 2 reads 0.3 V instead of 0 V", "0 V"),
    ("dc-for-role", [show(1, dc="5 V")], "reads 5 V instead of 8 V ± 5 %", "8 V ± 5 %"),
    ("dc-for-role", [show(1, dc="0 V")], "supply pin 1 reads 0 V instead of", "8 V ± 5 %"),
    ("dc-for-role", [show(4, dc="0 V")], "output pin 4 reads 0 V in every condition", None),
    ("peak-near-limit", [show(4, dc="7.5 V", waveform=make_sine("2 Vpp"))],
     "a peak of 8.5 V is outside 0 V to 8.4 V", "beyond_supply: …"),
    ("peak-near-limit", [show(4, dc="1 V", waveform=make_sine("2.2 Vpp"))],
     "a peak of -100 mV is outside", "beyond_supply: …"),
    ("pin-in-no-block", [lambda c: c["blocks"][0].update(inputs=[])], "pin 3 is in no block",
     "inputs: [pin 3]"),
]  # fmt: skip


@pytest.mark.parametrize(("rule", "changes", "told", "write"), GIVEN)
def test_advice_says_what_is_odd_and_what_to_write(
    rule: str, changes: list[Change], told: str, write: str | None
) -> None:
    (finding,) = list_advice(*changes)
    assert finding.rule == rule
    assert told in finding.message
    assert finding.message == f"{finding.problem}; {finding.remedy}"
    assert finding.write == write


@pytest.mark.parametrize(
    "changes",
    [
        [set_pin(3, role="unused", symbol="NC", expectations=[])],  # nothing to measure there
        [add(3, "standby", dc="2 V"), add(4, "standby", dc="2 V")],  # only half have it
        [show(2, dc="80 mV")],  # drop along the board
        [show(1, dc="7.6 V")],  # a low but good supply
        [add(1, "standby", dc="0 V")],  # switched off then, there otherwise
        [show(4, dc="0 V"), add(4, "no signal", dc="2 V")],  # a logic output
        [show(4, dc="0 V", waveform=make_sine("100 mVpp"), beyond_supply="A coil to ground.")],
        [split_supply, show(4, dc="0 V")],  # an amplifier rests in the middle
        [lambda c: c.pop("blocks")],  # no block diagram at all
        [lambda c: c["sources"].append({"id": "bench", "kind": "measured", "title": "Bench"}),
         show(3, source={"id": "bench", "sets": 2})],  # a bench has no pages
        [show(3, source={"id": "sheet", "note": "row 3"})],  # nor has a spreadsheet
    ],
)  # fmt: skip
def test_what_is_sensible_is_let_pass(changes: list[Change]) -> None:
    assert list_advice(*changes) == ()


def test_advice_leads_to_its_place() -> None:
    (finding,) = list_advice(show(2, dc="0.3 V"))
    assert finding.at == ("pins", 1, "expectations", 0, "dc")
