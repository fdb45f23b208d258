"""Whole-chip rules: each with a chip that breaks it, and its message."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, cast

import pytest
from pinfolio.schema import Chip, ChipRuleError, Finding
from pinfolio.schema.rules import RULE_BOOK
from pydantic import ValidationError

Fields = dict[str, Any]
Change = Callable[[Fields], Any]


def make_fields() -> Fields:
    """A chip of four pins that keeps every rule."""
    bars = {"condition": "colour bars", "source": {"id": "sheet", "page": 7}}
    pulse = {"kind": "line pulse", "system": "PAL-B/G", "low": "0 V", "high": "5 V"}
    return {
        "part": "QZ1000",
        "maker": "Tannhof Halbleiter",
        "kind": "jungle",
        "summary": "Invented example.",
        "invented": True,
        "systems": ["PAL-B/G"],
        "package": {"family": "SIP", "pins": 4},
        "similar": [{"part": "QZ1001"}],
        "supplies": [{"name": "VCC", "pins": [1], "voltage": "8 V ± 5 %"}],
        "sources": [{"id": "sheet", "kind": "data sheet", "title": "Preliminary data"}],
        "conditions": [{"name": "colour bars", "means": "Bars at the aerial socket."}],
        "hazards": [{"kind": "hot surface", "at": "node-a", "caution": "Hot."}],
        "blocks": [{"id": "drive", "name": "drive", "inputs": ["pin 3"], "outputs": ["pin 4"]}],
        "application": {
            "parts": [
                {"ref": "R1", "kind": "resistor", "value": "4k7", "joins": ["pin 4", "node-a"]},
                {"ref": "X1", "kind": "crystal", "value": "4.433619 MHz",
                 "joins": ["pin 3", "ground"]},
            ],
            "nodes": [{"id": "node-a", "name": "foot of R1"}],
        },
        "pins": [
            {"number": 1, "symbol": "VCC", "function": "supply", "role": "supply",
             "expectations": [{**bars, "dc": "8 V"}]},
            {"number": 2, "symbol": "GND", "function": "ground", "role": "ground"},
            {"number": 3, "symbol": "IN", "function": "input", "role": "input",
             "absolute_maximum": "6 V",
             "expectations": [{**bars, "dc": "3 V", "waveform": {
                 "kind": "sine", "frequency": "1 kHz", "vpp": "1 Vpp"}}]},
            {"number": 4, "symbol": "OUT", "function": "output", "role": "output",
             "expectations": [{**bars, "dc": "0.94 V", "waveform": {**pulse, "width": "12 µs",
                                                                  "polarity": "positive"}}]},
        ],
    }  # fmt: skip


def list_findings(change: Change) -> tuple[Finding, ...]:
    changed = make_fields()
    change(changed)
    with pytest.raises(ValidationError) as refused:
        Chip.model_validate(changed)
    error = refused.value.errors()[0]["ctx"]["error"]
    assert isinstance(error, ChipRuleError)
    return error.findings


def set_pin(number: int, /, **new: Any) -> Change:
    return lambda chip: chip["pins"][number - 1].update(new)


def show(number: int, /, **new: Any) -> Change:
    return lambda chip: chip["pins"][number - 1]["expectations"][0].update(new)


def part(index: int, /, **new: Any) -> Change:
    return lambda chip: chip["application"]["parts"][index].update(new)


def supply(**new: Any) -> Change:
    return lambda chip: chip["supplies"][0].update(new)


def make_node(chip: Fields) -> Fields:
    return cast(Fields, chip["application"]["nodes"][0])


def add_symptom(at: str, times: int = 1) -> Change:
    observed = [{"at": at, "quantity": "vpp", "outcome": "too low"}]
    return lambda chip: chip.update(symptoms=[{"name": "pulls", "observed": observed}] * times)


def shown(point: Fields, condition: str) -> None:
    """Add an expectation in this condition to a pin or node."""
    more = {"condition": condition, "dc": "1 V", "source": {"id": "sheet"}}
    point["expectations"] = [*point.get("expectations", []), more]


BUS = {"kind": "bus activity", "low": "0 V", "high": "5 V", "clock": "100 kHz", "line": "data"}
SINE = {"kind": "sine", "frequency": "1 kHz"}


def remove_place(vpp: str) -> Change:
    """A floating waveform on pin 3 of which the DC is not known."""
    return show(3, dc=None, waveform={**SINE, "vpp": vpp})


BAD: list[tuple[str, Change, str]] = [
    ("pins-complete", set_pin(4, number=3), "pin 3 is listed twice and pin 4 is missing"),
    ("pins-complete", set_pin(4, number=9), "pin 4 is missing; list each of the 4 pins of SIP-4"),
    ("pins-complete", lambda c: c["pins"].reverse(), "pin 3 is listed after pin 4"),
    ("symbols-once", set_pin(4, symbol="in"), "symbol in is on pins 3 and 4"),
    ("names-once", lambda c: c["sources"].append(c["sources"][0]), "id sheet is given twice"),
    ("names-once", part(1, ref="R1"), "ref R1 is given twice"),
    ("names-once", lambda c: c["conditions"].append(c["conditions"][0]), "colour bars is given"),
    ("names-once", lambda c: c["blocks"].append(c["blocks"][0]), "id drive is given twice"),
    ("names-once", lambda c: c["blocks"][0].update(id="node-a"), "is taken by a block"),
    ("names-once", lambda c: make_node(c).update(id="ground"), "node ground has a name that"),
    ("references-exist", show(3, condition="color bars"), "use one of colour bars"),
    ("references-exist", show(3, source={"id": "shet"}), "source 'shet' is not described"),
    ("references-exist", lambda c: shown(make_node(c), "dark"), "'dark' is not described"),
    ("references-exist", lambda c: shown(c["pins"][2], "colour bars"), "twice at one point"),
    ("ends-exist", part(0, joins=["pin 4", "nod-a"]), "'nod-a' is not in the chip file"),
    ("ends-exist", part(0, joins=["pin 5", "ground"]), "(there are pins 1 to 4)"),
    ("ends-exist", lambda c: c["blocks"][0].update(needs=["osc"]), "name a pin or a block"),
    ("ends-exist", add_symptom("pin 5"), "(there are pins 1 to 4)"),
    ("ends-exist", add_symptom("ground"), "'ground' is not in the chip file; name a pin"),
    ("names-once", add_symptom("pin 4", times=2), "name pulls is given twice"),
    ("supply-and-ground", set_pin(1, role="input"), "names pin 1, which has role input"),
    ("supply-and-ground", set_pin(2, role="unused"), "no pin has role ground"),
    ("supply-and-ground", set_pin(4, role="supply"), "supply pin 4 belongs to no supply"),
    ("supply-and-ground", supply(pins=["7"]), "supply VCC names pin 7, but the chip has no such"),
    ("supply-and-ground", supply(pins=[]), "supply VCC names no pins"),
    ("ends-exist", lambda c: c["hazards"][0].update(at="drive"), "name a pin or a node"),
    ("dc-possible", show(1, dc="9 V"), "DC of 9 V is outside 0 V to the supply's 8.4 V"),
    ("dc-possible", show(3, dc="6.5 V"), "beyond the absolute maximum of 6 V"),
    ("dc-possible", show(3, dc="9 V", beyond_supply="Coil kick."), "absolute maximum of 6 V"),
    ("dc-possible", show(3, dc="-0.5 V"), "DC of -500 mV is outside 0 V to the supply's 8.4"),
    ("waveform-possible", show(3, waveform={**SINE, "vpp": "8 Vpp"}), "a peak of -1 V"),
    ("waveform-possible", show(3, waveform={**SINE, "vpp": "6.3 Vpp"}), "absolute maximum of 6 V"),
    ("waveform-possible", remove_place("9 Vpp"), "a peak of 9 V is outside 0 V to the supply's"),
    ("waveform-on-dc", show(4, dc="1 V", waveform=BUS), "DC 1 V is not the mean"),
    ("waveform-on-dc", show(4, dc="4 V"), "DC 4 V is not the mean of the waveform, 93"),
    ("output-limits-hold", set_pin(3, output_limits={"high": "2 V"}), "DC of 3 V is beyond the"),
    ("output-limits-hold", set_pin(4, output_limits={"low": "0.5 V"}), "a peak of "),
    ("crystal-fits", part(1, value="3.579545 MHz"), "does not suit PAL-B/G; use 4.433619 MHz"),
    ("crystal-fits", part(1, value="6 MHz"), "use 4.433619 MHz, or state under 'why'"),
    ("crystal-fits", part(1, kind="ceramic resonator", value="455 kHz"), "state under 'why'"),
    ("relations-elsewhere", lambda c: c["similar"][0].update(part="qz 1000"), "name another chip"),
]  # fmt: skip


def test_the_good_chip_is_good() -> None:
    assert Chip.model_validate(make_fields()).part == "QZ1000"


@pytest.mark.parametrize(("rule", "change", "told"), BAD)
def test_a_broken_rule_states_the_problem_and_the_remedy(
    rule: str, change: Change, told: str
) -> None:
    found = [finding for finding in list_findings(change) if finding.rule == rule]
    assert any(told in finding.message for finding in found), list_findings(change)
    assert all(finding.message == f"{finding.problem}; {finding.remedy}" for finding in found)


def test_every_rule_has_a_bad_chip() -> None:
    of_the_whole_chip = {rule.name for rule in RULE_BOOK if rule.kind == "whole chip"}
    assert of_the_whole_chip == {rule for rule, _, _ in BAD}


@pytest.mark.parametrize(
    ("change", "write"),
    [
        (part(0, joins=["pin 4", "nod-a"]), "node-a"),
        (part(0, joins=["pin 5", "ground"]), None),  # no pin is nearer to another than the rest
        (show(3, condition="color bars"), "colour bars"),
        (show(3, source={"id": "shet"}), "sheet"),
        (part(1, value="4.43 MHz"), "4.433619 MHz"),
        (part(1, value="6 MHz"), None),
    ],
)
def test_the_nearest_right_word_is_offered(change: Change, write: str | None) -> None:
    assert [finding.write for finding in list_findings(change)] == [write]


def test_a_finding_leads_to_its_place() -> None:
    assert list_findings(show(3, condition="dark"))[0].at == (
        "pins",
        2,
        "expectations",
        0,
        "condition",
    )


def split_supply(chip: Fields) -> None:
    """A vertical output stage between +8 V and -8 V, with no ground pin."""
    chip["supplies"].append({"name": "VEE", "pins": [2], "voltage": "-8 V ± 5 %"})
    chip["pins"][1].update(role="supply", symbol="VEE")
    chip["pins"][2]["expectations"][0]["dc"] = "-3 V"


@pytest.mark.parametrize(
    "change",
    [
        show(3, waveform={**SINE, "vpp": "8 Vpp"}, dc="2 V", beyond_supply="Coil kick."),
        remove_place("5.9 Vpp"),
        part(1, value="6 MHz", why="Clock of the text decoder on the same board."),
        part(1, value="8.867238 MHz"),
        part(1, kind="ceramic resonator", value="503 kHz"),
        split_supply,
    ],
)
def test_what_is_odd_for_a_reason_is_let_pass(change: Change) -> None:
    changed = make_fields()
    change(changed)
    assert Chip.model_validate(changed)


@pytest.mark.parametrize(
    ("maximum", "dc", "good"),
    [
        ("-0.3 V .. 6 V", "5.5 V", True),  # a range is not judged by its middle
        ("-0.3 V .. 6 V", "6.5 V", False),
        ("-6 V", "-5 V", True),
        ("-6 V", "-6.5 V", False),
    ],
)
def test_an_absolute_maximum_may_be_a_range_or_negative(maximum: str, dc: str, good: bool) -> None:
    changed = make_fields()
    split_supply(changed)
    changed["pins"][2].update(absolute_maximum=maximum)
    changed["pins"][2]["expectations"][0].update(dc=dc, waveform=None)
    if good:
        assert Chip.model_validate(changed)
    else:
        with pytest.raises(ValidationError, match="absolute maximum"):
            Chip.model_validate(changed)


@pytest.mark.parametrize(
    ("pull_in", "value", "good"),
    [
        (None, "4.4345 MHz", True),  # 200 ppm off
        (None, "4.4355 MHz", False),
        ("2 kHz", "4.4355 MHz", True),
    ],
)
def test_a_crystal_may_be_off_as_far_as_it_is_pulled_in(
    pull_in: str | None, value: str, good: bool
) -> None:
    changed = make_fields()
    part(1, value=value)(changed)
    changed["application"]["pull_in"] = pull_in
    if good:
        assert Chip.model_validate(changed)
    else:
        with pytest.raises(ValidationError, match="does not suit PAL-B/G"):
            Chip.model_validate(changed)


@pytest.mark.parametrize("dc", ["5 V", "4.9 V", "2.8 V"])
def test_a_bus_may_state_its_level_at_rest_or_its_mean(dc: str) -> None:
    changed = make_fields()
    show(4, dc=dc, waveform=BUS)(changed)
    assert Chip.model_validate(changed).pin(4)
