"""Differences between two chips that a technician would regret not having been told of.

Every case is common practice of the trade, written from memory, without sight of the comparison:
a chip of the same pinning that differs in one level, threshold, impedance or load.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import pytest
from click.testing import Result
from pinfolio.loaders.chip_files.chip_file import chip_to_yaml
from pinfolio.plugins.contributing.comparison import Comparison, compare
from pinfolio.plugins.contributing.same_function import compare_functions
from pinfolio.schema import Chip, Pin

Document = dict[str, Any]
Change = Callable[[Document], None]

BARS: Final = {"kind": "composite video", "system": "PAL-B/G", "bars": "75 %", "vpp": "1 Vpp"}
KEY: Final = {
    "kind": "sandcastle",
    "system": "PAL-B/G",
    "burst_key": "8 V",
    "line_blanking": "4.5 V",
}


def make_small_chip(change: Change | None = None, part: str = "ZZY1001") -> Chip:
    """An invented sync chip of eight pins, every value of which is stated; one thing changed."""
    document = describe_small_chip(part)
    if change is not None:
        change(document)
    return Chip.model_validate(document)


def describe_small_chip(part: str) -> Document:
    sheet = {"id": "sheet"}

    def expect(dc: str, waveform: Document | None = None) -> list[Document]:
        signal = {} if waveform is None else {"waveform": dict(waveform)}
        return [{"condition": "colour bars", "dc": dc, "source": sheet, **signal}]

    drive = {
        "kind": "pulse",
        "frequency": "15.625 kHz",
        "low": "0.3 V",
        "high": "8 V",
        "width": "28 µs",
    }
    rows: list[Document] = [
        {"symbol": "GND", "function": "ground", "role": "ground"},
        {"symbol": "SYNC IN", "function": "composite video input", "role": "input",
         "resistance": "10 kΩ", "expectations": expect("3.4 V ± 10 %", BARS)},
        {"symbol": "COINC", "function": "coincidence detector", "role": "filter",
         "threshold": "2.5 V", "resistance": "150 kΩ", "expectations": expect("4.6 V ± 10 %")},
        {"symbol": "SC", "function": "sandcastle output", "role": "output", "resistance": "200 Ω",
         "output_limits": {"low": "0.1 V", "high": "10 V"},
         "expectations": expect("1.2 V ± 40 %", {**KEY, "field_blanking": "2.5 V"})},
        {"symbol": "H OUT", "function": "line drive output", "role": "output", "resistance": "60 Ω",
         "output_limits": {"low": "0.2 V", "high": "11 V"},
         "expectations": expect("3.8 V ± 60 %", drive)},
        {"symbol": "MUTE", "function": "mute input", "role": "input", "resistance": "47 kΩ",
         "threshold": "1.4 V", "expectations": expect("0.2 V ± 0.2 V")},
        {"symbol": "NC", "function": "not connected", "role": "unused"},
        {"symbol": "VCC", "function": "supply", "role": "supply",
         "expectations": expect("12 V ± 5 %")},
    ]  # fmt: skip
    return {
        "part": part, "maker": "Zz (invented)", "kind": "sync/deflection processor",
        "summary": "Invented sync chip.", "invented": True, "systems": ["PAL-B/G"],
        "package": {"family": "DIP", "pins": 8, "pitch": "2.54 mm", "row_spacing": "7.62 mm"},
        "supplies": [{"name": "VCC", "pins": [8], "voltage": "12 V ± 5 %", "current": "30 mA"}],
        "sources": [{"id": "sheet", "kind": "data sheet", "title": "Invented"}],
        "conditions": [{"name": "colour bars", "means": "Set on, 75 % bars"}],
        "parameters": [
            {"name": "burst key delay after sync", "pins": [4], "source": sheet,
             "value": "min 4.6 us typ 5 us max 5.4 us"},
            {"name": "line drive output current", "pins": [5], "source": sheet,
             "value": "max 20 mA"},
        ],
        "pins": [{"number": number, **row} for number, row in enumerate(rows, 1)],
    }  # fmt: skip


def set_pin(number: int, **fields: Any) -> Change:
    """Change fields of a pin; None takes one away."""

    def change(document: Document) -> None:
        pin = document["pins"][number - 1]
        pin.update(fields)
        for name in [name for name, value in fields.items() if value is None]:
            del pin[name]

    return change


def set_waveform(number: int, **fields: Any) -> Change:
    """Change fields of a pin's waveform; None takes one away."""

    def change(document: Document) -> None:
        waveform = document["pins"][number - 1]["expectations"][0]["waveform"]
        waveform.update(fields)
        for name in [name for name, value in fields.items() if value is None]:
            del waveform[name]

    return change


def set_parameter(index: int, **fields: Any) -> Change:
    return lambda document: document["parameters"][index].update(fields)


def set_supply_current(current: str) -> Change:
    return lambda document: document["supplies"][0].update(current=current)


def weaken_sandcastle(document: Document) -> None:
    set_waveform(4, burst_key="4.8 V")(document)
    set_pin(4, output_limits={"low": "0.1 V", "high": "5 V"})(document)


def list_grave(made: Comparison) -> set[tuple[str, int | None]]:
    return {(d.aspect, d.pin) for d in made.differences if d.weight != "mind"}


DIFFERENCES: Final[dict[str, tuple[Change, str, int]]] = {
    "a two-level sandcastle for a three-level one": (
        set_waveform(4, field_blanking=None), "waveform levels", 4),
    "burst key 6 V for 8 V": (set_waveform(4, burst_key="6 V"), "waveform levels", 4),
    "line blanking 3.2 V for 4.5 V": (set_waveform(4, line_blanking="3.2 V"), "waveform levels", 4),
    "a drive pulse of 4 V for one of 8 V": (set_waveform(5, high="4 V"), "waveform levels", 5),
    "a drive pulse that does not go down to ground": (
        set_waveform(5, low="2 V"), "waveform levels", 5),
    "a drive pulse of 12 µs for one of 28 µs": (
        set_waveform(5, width="12 µs"), "waveform timing", 5),
    "75 Ω for a 10 kΩ input": (set_pin(2, resistance="75 Ω"), "impedance", 2),
    "an output of 5 kΩ for one of 60 Ω": (set_pin(5, resistance="5 kΩ"), "impedance", 5),
    "a mute input that switches at 4.5 V for 1.4 V": (
        set_pin(6, threshold="4.5 V"), "threshold", 6),
    "a detector that switches at 6 V for 2.5 V": (set_pin(3, threshold="6 V"), "threshold", 3),
    "an output that reaches 5 V where 8 V is used": (
        weaken_sandcastle, "load", 4),
    "an output that drives 5 mA for 20 mA": (set_parameter(1, value="max 5 mA"), "parameter", 5),
    "a burst key 2 µs late": (
        set_parameter(0, value="min 6.6 us typ 7 us max 7.4 us"), "parameter", 4),
    "75 mA from a supply of 30 mA": (set_supply_current("75 mA"), "load", 8),
}  # fmt: skip


@pytest.mark.parametrize("case", DIFFERENCES, ids=str)
def test_a_difference_that_matters_is_told(case: str) -> None:
    change, aspect, pin = DIFFERENCES[case]
    made = compare(make_small_chip(), make_small_chip(change, "ZZY1002"))
    assert (aspect, pin) in list_grave(made)
    assert not made.stands_in


SPREAD: Final[dict[str, Change]] = {
    "burst key 7.8 V for 8 V": set_waveform(4, burst_key="7.8 V"),
    "an input of 12 kΩ for 10 kΩ": set_pin(2, resistance="12 kΩ"),
    "an input of 1 MΩ for 10 kΩ, which loads less": set_pin(2, resistance="1 MΩ"),
    "an output of 20 Ω for 60 Ω, which gives more": set_pin(5, resistance="20 Ω"),
    "threshold 1.5 V for 1.4 V": set_pin(6, threshold="1.5 V"),
    "32 mA from a supply of 30 mA": set_supply_current("32 mA"),
    "20 mA from a supply of 30 mA": set_supply_current("20 mA"),
    "an output that drives 30 mA for 20 mA": set_parameter(1, value="max 30 mA"),
    "an output with more room": set_pin(4, output_limits={"low": "0.05 V", "high": "11 V"}),
}


@pytest.mark.parametrize("case", SPREAD, ids=str)
def test_spread_and_what_is_better_do_not_stop_a_chip(case: str) -> None:
    made = compare(make_small_chip(), make_small_chip(SPREAD[case], "ZZY1002"))
    assert list_grave(made) == set()
    assert made.verdict == "stands in"


def test_an_unterminated_input_for_a_terminated_one_is_told() -> None:
    terminated = make_small_chip(set_pin(2, resistance="75 Ω"))
    made = compare(terminated, make_small_chip(part="ZZY1002"))
    (difference,) = [d for d in made.differences if d.pin == 2]
    assert (difference.aspect, difference.weight) == ("impedance", "change")
    assert "resistor" in difference.needs


GAPS: Final[dict[str, tuple[Change, str]]] = {
    "an input without its impedance": (set_pin(2, resistance=None), "pin 2.*impedance"),
    "an output without its impedance": (set_pin(4, resistance=None), "pin 4.*impedance"),
    "a switching input without its threshold": (set_pin(6, threshold=None), "pin 6.*threshold"),
    "an output without its limits": (set_pin(5, output_limits=None), "pin 5.*load"),
    "a pin without any value": (set_pin(2, expectations=None), "pin 2.*level"),
    "a pin without its waveform": (
        lambda d: d["pins"][3]["expectations"][0].pop("waveform"), "pin 4.*waveform"),
    "another kind of waveform": (
        lambda d: d["pins"][3]["expectations"][0].update(
            waveform={"kind": "pulse", "frequency": "15.625 kHz", "low": "0 V", "high": "8 V",
                      "width": "4 µs"}), "pin 4.*waveform"),
    "a sheet without the parameter": (
        lambda d: d["parameters"].pop(0), "pin 4.*burst key delay after sync"),
}  # fmt: skip


@pytest.mark.parametrize("case", GAPS, ids=str)
def test_a_chip_stands_in_only_if_the_value_was_compared(case: str) -> None:
    change, wording = GAPS[case]
    full, silent = make_small_chip(), make_small_chip(change, "ZZY1002")
    for fitted, other in ((full, silent), (silent, full)):
        made = compare(fitted, other)
        assert not made.stands_in
        listed = [*made.not_compared, *(f"pin {d.pin}: {d.aspect}" for d in made.differences)]
        assert any(re.search(wording, line) for line in listed), listed


def test_two_parts_that_state_no_impedance_are_not_said_to_be_equal() -> None:
    def strip(document: Document) -> None:
        for pin in document["pins"]:
            pin.pop("resistance", None)

    made = compare(make_small_chip(strip), make_small_chip(strip, "ZZY1002"))
    assert made.verdict == "may stand in"
    assert any("impedance" in line and "2" in line for line in made.not_compared)


def test_a_difference_is_told_besides_a_gap() -> None:
    def change(document: Document) -> None:
        set_pin(6, threshold=None)(document)
        set_waveform(4, burst_key="6 V")(document)

    made = compare(make_small_chip(), make_small_chip(change, "ZZY1002"))
    assert made.verdict == "may stand in"
    assert ("waveform levels", 4) in list_grave(made)


def test_the_command_says_that_something_was_not_compared(
    run: Callable[..., Result], tmp_path: Path
) -> None:
    for name, chip in (
        ("a.yaml", make_small_chip()),
        ("b.yaml", make_small_chip(set_pin(6, threshold=None), "ZZY1002")),
    ):
        (tmp_path / name).write_text(chip_to_yaml(chip), encoding="utf-8")
    answer = run("compare", tmp_path / "a.yaml", tmp_path / "b.yaml")
    assert answer.exit_code == 1
    assert "ZZY1002 may stand in for ZZY1001" in answer.output
    assert re.search(r"pin 6.*threshold", answer.output)


def find_pin(function: str, symbol: str) -> Pin:
    return Pin.model_validate(
        {"number": 1, "symbol": symbol, "function": function, "role": "input"}
    )


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("line driver output", "horizontal drive output"),
        ("line drive output", "H out"),
        ("horizontal output", "line driver"),
        ("field drive output", "vertical output"),
        ("frame driver output", "vertical drive output"),
        ("super sandcastle output", "sandcastle pulse output"),
        ("line flyback pulse input", "horizontal retrace input"),
        ("chroma input", "chrominance input"),
        ("ACC filter", "automatic colour control capacitor"),
        ("beam limiter input", "ABL"),
        ("composite video input", "CVBS in"),
        ("line sync output", "horizontal sync output"),
        ("vertical ramp capacitor", "field sawtooth generator"),
        ("earth", "ground"),
        ("supply voltage", "VCC"),
        ("tuner AGC output", "RF AGC"),
        ("hue control", "tint control"),
        ("crystal", "XTAL oscillator"),
    ],
)
def test_two_wordings_of_the_trade_are_one_function(one: str, other: str) -> None:
    assert compare_functions(find_pin(one, "A"), find_pin(other, "B")) == "same"
    assert compare_functions(find_pin(other, "A"), find_pin(one, "B")) == "same"


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("line drive output", "field drive output"),
        ("line drive output", "line flyback pulse input"),
        ("contrast control", "brightness control"),
        ("audio output", "video output"),
        ("RF AGC output", "IF AGC filter"),
        ("luminance output", "chrominance output"),
        ("sandcastle output", "composite sync output"),
        ("crystal", "ceramic filter"),
        ("supply", "ground"),
        ("ACC filter", "APC filter"),
        ("line oscillator", "field oscillator"),
        ("saturation control", "hue control"),
        ("vertical feedback input", "vertical drive output"),
        ("left audio input", "right audio input"),
        ("sync tip clamp", "sync separator output"),
    ],
)
def test_neighbouring_functions_are_not_taken_for_one(one: str, other: str) -> None:
    assert compare_functions(find_pin(one, "A"), find_pin(other, "B")) != "same"
