"""Can one chip stand in for another? The same chip with one thing changed gives one difference."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import Result
from datasette.app import Datasette
from pinfolio.loaders.chip_files.chip_file import chip_to_yaml
from pinfolio.plugins.contributing.comparison import Comparison, compare
from pinfolio.plugins.contributing.same_function import compare_functions
from pinfolio.schema import Chip, Pin

from ...demo_chips import DEMO

Document = dict[str, Any]
CHIPS = [*DEMO.values()]


def change_pin(chip: Chip, number: int, **fields: Any) -> Chip:
    """The chip with other values on one pin; None takes a value away."""
    document = chip.model_dump(mode="json", exclude_defaults=True)
    pin = document["pins"][number - 1]
    pin.update(fields)
    for name in [name for name, value in fields.items() if value is None]:
        del pin[name]
    return Chip.model_validate(document)


def change_expectation(chip: Chip, number: int, condition: str, **fields: Any) -> Chip:
    """The chip with other values on one pin in one condition."""
    document = chip.model_dump(mode="json", exclude_defaults=True)
    expectations = document["pins"][number - 1]["expectations"]
    next(e for e in expectations if e["condition"] == condition).update(fields)
    return Chip.model_validate(document)


def find_pin(function: str, role: str = "input", symbol: str = "X") -> Pin:
    return Pin.model_validate({"number": 1, "symbol": symbol, "function": function, "role": role})


def list_differences(made: Comparison) -> list[tuple[str, str, int | None]]:
    return [(d.weight, d.aspect, d.pin) for d in made.differences]


@pytest.mark.parametrize("chip", CHIPS, ids=[chip.part for chip in CHIPS])
def test_a_chip_stands_in_for_itself(chip: Chip) -> None:
    made = compare(chip, chip)
    assert made.verdict == "stands in"
    assert made.differences == ()
    assert made.same_pins == len(chip.pins)


@pytest.mark.parametrize("other", CHIPS, ids=[chip.part for chip in CHIPS])
@pytest.mark.parametrize("fitted", CHIPS, ids=[chip.part for chip in CHIPS])
def test_only_a_chip_that_loses_nothing_stands_in(fitted: Chip, other: Chip) -> None:
    made = compare(fitted, other)
    grave = [d for d in made.differences if d.weight != "mind"]
    untold = any(gap.decisive for gap in made.gaps)
    assert made.stands_in == (not grave and not untold)
    assert 0 <= made.same_pins <= len(fitted.pins)
    order = [("stops", "change", "mind").index(d.weight) for d in made.differences]
    assert order == sorted(order)


def test_chips_of_another_pinning_do_not_stand_in_and_say_where_a_function_went(
    jungle: Chip,
) -> None:
    ntsc = next(chip for chip in CHIPS if chip.part == "OGX7342")
    made = compare(jungle, ntsc)
    assert made.verdict == "does not"
    assert ("stops", "package", None) in list_differences(made)
    assert ("stops", "system", None) in list_differences(made)
    afc = next(d for d in made.differences if d.pin == 16)
    assert "pin 34 AFC there" in afc.needs


def test_a_dc_level_that_both_tolerances_allow_is_no_difference(jungle: Chip) -> None:
    near = change_expectation(jungle, 13, "no signal", dc="3.5 V ± 5 %")  # 3.33 to 3.68 V
    assert (
        list_differences(compare(jungle, near)) == []
    )  # against 3.1 V ± 10 %, that is 2.79 to 3.41 V


def test_a_dc_level_out_of_reach_needs_a_coupling(jungle: Chip) -> None:
    far = change_expectation(jungle, 13, "no signal", dc="4.6 V ± 5 %")
    made = compare(jungle, far)
    assert made.verdict == "stands in with changes"
    (difference,) = made.differences
    assert (difference.aspect, difference.condition, difference.pin) == ("DC", "no signal", 13)
    assert difference.wordings == ("3.1 V (2.79 V to 3.41 V)", "4.6 V (4.37 V to 4.83 V)")
    assert "capacitor" in difference.needs


@pytest.mark.parametrize(("vpp", "needs"), [("2 Vpp", "an amplifier"), ("0.4 Vpp", "a divider")])
def test_an_input_that_wants_more_needs_an_amplifier(jungle: Chip, vpp: str, needs: str) -> None:
    waveform = {"kind": "composite video", "system": "PAL-B/G", "bars": "75 %", "vpp": vpp}
    made = compare(jungle, change_expectation(jungle, 13, "colour bars", waveform=waveform))
    assert list_differences(made) == [("change", "peak to peak", 13)]
    assert made.differences[0].needs.startswith(needs)


def test_sync_the_other_way_up_needs_an_inverting_stage(jungle: Chip) -> None:
    waveform = {
        "kind": "composite video",
        "system": "PAL-B/G",
        "bars": "75 %",
        "vpp": "1 Vpp",
        "sync": "up",
    }
    made = compare(jungle, change_expectation(jungle, 13, "colour bars", waveform=waveform))
    assert list_differences(made) == [("change", "polarity", 13)]
    assert made.differences[0].needs == "an inverting stage"


def test_a_pin_that_does_something_else_stops_it(jungle: Chip) -> None:
    made = compare(jungle, change_pin(jungle, 13, symbol="HUE", function="hue control"))
    assert made.verdict == "does not"
    assert list_differences(made) == [("stops", "function", 13)]


def test_the_same_function_in_other_words_is_no_difference(jungle: Chip) -> None:
    reworded = change_pin(jungle, 13, function="CVBS input, sync slicer")
    assert compare(jungle, reworded).stands_in


def test_a_lower_absolute_maximum_is_seen_before_it_is_fitted(jungle: Chip) -> None:
    waveform = {"kind": "composite video", "system": "PAL-B/G", "bars": "75 %", "vpp": "0.85 Vpp"}
    gentle = change_expectation(jungle, 13, "colour bars", dc="3.3 V", waveform=waveform)
    weak = change_pin(gentle, 13, absolute_maximum="3.8 V")  # the board shows peaks of 3.9 V
    assert list_differences(compare(jungle, weak)) == [("change", "limit", 13)]


def test_another_supply_is_told_with_its_pins(jungle: Chip) -> None:
    document = jungle.model_dump(mode="json", exclude_defaults=True)
    document["supplies"][0]["voltage"] = "9.5 V ± 5 %"
    made = compare(jungle, Chip.model_validate(document))
    assert list_differences(made) == [
        ("change", "supply", number) for number in jungle.supplies[0].pins
    ]


def test_another_crystal_is_told(jungle: Chip) -> None:
    document = jungle.model_dump(mode="json", exclude_defaults=True)
    part = next(p for p in document["application"]["parts"] if p["kind"] == "ceramic resonator")
    part["value"] = "503 kHz"
    made = compare(jungle, Chip.model_validate(document))
    assert ("change", "part", 17) in list_differences(made)


def test_another_row_spacing_needs_an_adapter(jungle: Chip) -> None:
    document = jungle.model_dump(mode="json", exclude_defaults=True)
    document["package"]["row_spacing"] = "19.05 mm"
    assert list_differences(compare(jungle, Chip.model_validate(document))) == [
        ("change", "package", None)
    ]


def test_what_a_file_does_not_tell_is_listed(jungle: Chip) -> None:
    silent = change_pin(jungle, 13, expectations=None)
    made = compare(jungle, silent)
    assert made.verdict == "may stand in"
    assert any("pin 13" in untold for untold in made.not_compared)


@pytest.mark.parametrize(
    ("one", "other", "likeness"),
    [
        ("burst gate pulse input", "burst key input", "same"),
        ("horizontal drive output", "line output", "same"),
        ("color killer filter", "colour killer", "same"),
        ("R-Y output", "B-Y output", "another"),
        ("red output", "green output", "another"),
        ("vertical sync input", "line sync input", "another"),
        ("audio input", "hue control", "another"),
        ("bus clock", "bus data", "another"),
    ],
)
def test_functions_are_read_in_the_words_of_the_trade(one: str, other: str, likeness: str) -> None:
    assert compare_functions(find_pin(one), find_pin(other, symbol="Y")) == likeness
    assert compare_functions(find_pin(other), find_pin(one, symbol="Y")) == likeness


def test_the_command_answers_by_exit_status(run: Callable[..., Result]) -> None:
    alike = run("compare", "TQZ5752", "tqz-5752")
    assert alike.exit_code == 0
    assert "52 of 52 pins agree" in alike.output
    unlike = run("compare", "TQZ5752", "OGX7342")
    assert unlike.exit_code == 1
    assert "does not stand in for TQZ5752" in unlike.output
    assert "Caution: Live chassis" in unlike.output
    assert "What stops it" in unlike.output


def test_two_revisions_of_a_file_are_compared(
    run: Callable[..., Result], jungle: Chip, tmp_path: Path
) -> None:
    newer = tmp_path / "newer.yaml"
    changed = change_expectation(jungle, 13, "no signal", dc="4.6 V ± 5 %")
    newer.write_text(chip_to_yaml(changed), encoding="utf-8")
    answer = run("compare", "TQZ5752", newer, "--json")
    assert answer.exit_code == 1
    document = json.loads(answer.output)
    assert document["verdict"] == "stands in with changes"
    assert document["differences"][0]["pin"] == 13


def test_a_file_full_of_blanks_is_not_told_blank_by_blank(
    run: Callable[..., Result], tmp_path: Path
) -> None:
    new = tmp_path / "qz1.yaml"
    assert run("new", "QZ1", "--package", "SDIP-42", "-o", new).exit_code == 0
    refused = run("compare", new, "TQZ5752")
    assert refused.exit_code == 2
    assert len(refused.output.splitlines()) == 6
    assert f"and 128 faults more: pinfolio lint {new}" in refused.output


def test_what_cannot_be_compared_is_said(run: Callable[..., Result], tmp_path: Path) -> None:
    broken = tmp_path / "broken.yaml"
    broken.write_text("part: 7\n", encoding="utf-8")
    assert run("compare", broken, "TQZ5752").exit_code == 2
    assert run("compare", tmp_path / "none.yaml", "TQZ5752").exit_code == 2
    unknown = run("compare", "TQZ5725", "TQZ5752")
    assert unknown.exit_code == 1
    assert "TQZ5752" in unknown.output


async def test_page_document_and_command_say_the_same(
    site: Datasette, run: Callable[..., Result]
) -> None:
    document = (await site.client.get("/compare.json?a=TQZ5752&b=OGX7342")).json()
    assert document == json.loads(run("compare", "TQZ5752", "OGX7342", "--json").output)
    html = (await site.client.get("/compare?a=TQZ5752&b=OGX7342")).text
    assert "OGX7342 does not stand in for TQZ5752" in html


async def test_the_page_asks_for_what_is_missing(site: Datasette) -> None:
    asked = await site.client.get("/compare?a=TQZ5752")
    assert asked.status_code == 200
    assert 'value="TQZ5752"' in asked.text
    assert (await site.client.get("/compare.json?a=TQZ5752")).status_code == 400
    unknown = await site.client.get("/compare?a=TQZ5725&b=TQZ5752")
    assert unknown.status_code == 404
    assert 'href="/chip/TQZ5752"' in unknown.text
    assert (await site.client.get("/compare.json?a=TQZ5725&b=TQZ5752")).status_code == 404


async def test_the_chip_sheet_leads_to_the_comparison(site: Datasette) -> None:
    html = (await site.client.get("/chip/TQZ5752")).text
    assert 'href="/compare?a=TQZ5752&amp;b=OGX7342"' in html
