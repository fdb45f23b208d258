"""Whole-chip rules: each with a chip that breaks it, and what is said then."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, cast

import pytest
from pinfolio.schema import Chip, ChipRuleError, Finding
from pinfolio.schema.rules import RULE_BOOK
from pydantic import ValidationError

Fields = dict[str, Any]
Change = Callable[[Fields], Any]


def fields() -> Fields:
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


def findings(change: Change) -> tuple[Finding, ...]:
    changed = fields()
    change(changed)
    with pytest.raises(ValidationError) as refused:
        Chip.model_validate(changed)
    error = refused.value.errors()[0]["ctx"]["error"]
    assert isinstance(error, ChipRuleError)
    return error.findings


def pin(number: int, /, **new: Any) -> Change:
    return lambda chip: chip["pins"][number - 1].update(new)


def shows(number: int, /, **new: Any) -> Change:
    return lambda chip: chip["pins"][number - 1]["expectations"][0].update(new)


def part(index: int, /, **new: Any) -> Change:
    return lambda chip: chip["application"]["parts"][index].update(new)


def supply(**new: Any) -> Change:
    return lambda chip: chip["supplies"][0].update(new)


def node(chip: Fields) -> Fields:
    return cast(Fields, chip["application"]["nodes"][0])


def symptom(at: str, times: int = 1) -> Change:
    observed = [{"at": at, "quantity": "vpp", "outcome": "too low"}]
    return lambda chip: chip.update(symptoms=[{"name": "pulls", "observed": observed}] * times)


def shown(point: Fields, condition: str) -> None:
    """Add an expectation in this condition to a pin or node."""
    more = {"condition": condition, "dc": "1 V", "source": {"id": "sheet"}}
    point["expectations"] = [*point.get("expectations", []), more]


SINE = {"kind": "sine", "frequency": "1 kHz"}


def unplaced(vpp: str) -> Change:
    """A floating waveform on pin 3 of which the DC is not known."""
    return shows(3, dc=None, waveform={**SINE, "vpp": vpp})


BAD: list[tuple[str, Change, str]] = [
    ("pins-complete", pin(4, number=3), "found pin 3 twice, expected it once"),
    ("pins-complete", pin(4, number=9), "found no pin 4, expected each of the 4 pins of SIP-4"),
    ("pins-complete", lambda c: c["pins"].reverse(), "found pin 3 after pin 4"),
    ("symbols-once", pin(4, symbol="in"), "found symbol in on pins 3 and 4"),
    ("names-once", lambda c: c["sources"].append(c["sources"][0]), "found id sheet twice"),
    ("names-once", part(1, ref="R1"), "found ref R1 twice"),
    ("names-once", lambda c: c["conditions"].append(c["conditions"][0]), "found name colour bars"),
    ("names-once", lambda c: c["blocks"].append(c["blocks"][0]), "found id drive twice"),
    ("names-once", lambda c: c["blocks"][0].update(id="node-a"), "a name that no block has"),
    ("names-once", lambda c: node(c).update(id="ground"), "found a node ground"),
    ("references-exist", shows(3, condition="color bars"), "expected one of colour bars"),
    ("references-exist", shows(3, source={"id": "shet"}), "found source 'shet'"),
    ("references-exist", lambda c: shown(node(c), "dark"), "found condition 'dark'"),
    ("references-exist", lambda c: shown(c["pins"][2], "colour bars"), "once at a point"),
    ("ends-exist", part(0, joins=["pin 4", "nod-a"]), "found 'nod-a', expected a pin, a node"),
    ("ends-exist", part(0, joins=["pin 5", "ground"]), "(there are pins 1 to 4)"),
    ("ends-exist", lambda c: c["blocks"][0].update(needs=["osc"]), "expected a pin or a block"),
    ("ends-exist", symptom("pin 5"), "(there are pins 1 to 4)"),
    ("ends-exist", symptom("ground"), "found 'ground', expected a pin or a node"),
    ("names-once", symptom("pin 4", times=2), "found name pulls twice"),
    ("supply-and-ground", pin(1, role="input"), "expected a pin with role supply"),
    ("supply-and-ground", pin(2, role="unused"), "found no ground pin"),
    ("supply-and-ground", pin(4, role="supply"), "found supply pin 4 in no supply"),
    ("supply-and-ground", supply(pins=["7"]), "at pin 7 with role none, for it is not there"),
    ("supply-and-ground", supply(pins=[]), "found no pins under VCC"),
    ("ends-exist", lambda c: c["hazards"][0].update(at="drive"), "expected a pin or a node"),
    ("dc-possible", shows(1, dc="9 V"), "found DC of 9 V, expected 0 V to the supply's 8.4 V"),
    ("dc-possible", shows(3, dc="6.5 V"), "no more than the absolute maximum of 6 V"),
    ("dc-possible", shows(3, dc="9 V", beyond_supply="Coil kick."), "absolute maximum of 6 V"),
    ("dc-possible", shows(3, dc="-0.5 V"), "found DC of -500 mV, expected 0 V to the supply's 8.4"),
    ("waveform-possible", shows(3, waveform={**SINE, "vpp": "8 Vpp"}), "a peak of -1 V"),
    ("waveform-possible", shows(3, waveform={**SINE, "vpp": "6.3 Vpp"}), "absolute maximum of 6 V"),
    ("waveform-possible", unplaced("9 Vpp"), "found a peak of 9 V, expected 0 V to the supply's"),
    ("waveform-on-dc", shows(4, dc="4 V"), "found DC 4 V, expected the waveform's mean, 93"),
    ("crystal-fits", part(1, value="3.579545 MHz"), "expected 4.433619 MHz for PAL-B/G"),
    ("crystal-fits", part(1, value="6 MHz"), "expected 4.433619 MHz for PAL-B/G, or why it"),
    ("crystal-fits", part(1, kind="ceramic resonator", value="455 kHz"), "why it differs"),
    ("relations-elsewhere", lambda c: c["similar"][0].update(part="qz 1000"), "another chip"),
]  # fmt: skip


def test_the_good_chip_is_good() -> None:
    assert Chip.model_validate(fields()).part == "QZ1000"


@pytest.mark.parametrize(("rule", "change", "told"), BAD)
def test_a_broken_rule_says_what_was_found_and_expected(
    rule: str, change: Change, told: str
) -> None:
    found = [finding for finding in findings(change) if finding.rule == rule]
    assert any(told in finding.message for finding in found), findings(change)
    assert all(", expected " in finding.message for finding in found)


def test_every_rule_has_a_bad_chip() -> None:
    of_the_whole_chip = {rule.name for rule in RULE_BOOK if rule.kind == "whole chip"}
    assert of_the_whole_chip == {rule for rule, _, _ in BAD}


@pytest.mark.parametrize(
    ("change", "write"),
    [
        (part(0, joins=["pin 4", "nod-a"]), "node-a"),
        (part(0, joins=["pin 5", "ground"]), None),  # no pin is nearer to another than the rest
        (shows(3, condition="color bars"), "colour bars"),
        (shows(3, source={"id": "shet"}), "sheet"),
        (part(1, value="4.43 MHz"), "4.433619 MHz"),
        (part(1, value="6 MHz"), None),
    ],
)
def test_the_nearest_right_word_is_offered(change: Change, write: str | None) -> None:
    assert [finding.write for finding in findings(change)] == [write]


def test_a_finding_leads_to_its_place() -> None:
    assert findings(shows(3, condition="dark"))[0].at == ("pins", 2, "expectations", 0, "condition")


def split_supply(chip: Fields) -> None:
    """A vertical output stage between +8 V and -8 V, with no ground pin."""
    chip["supplies"].append({"name": "VEE", "pins": [2], "voltage": "-8 V ± 5 %"})
    chip["pins"][1].update(role="supply", symbol="VEE")
    chip["pins"][2]["expectations"][0]["dc"] = "-3 V"


@pytest.mark.parametrize(
    "change",
    [
        shows(3, waveform={**SINE, "vpp": "8 Vpp"}, dc="2 V", beyond_supply="Coil kick."),
        unplaced("5.9 Vpp"),
        part(1, value="6 MHz", why="Clock of the text decoder on the same board."),
        part(1, value="8.867238 MHz"),
        part(1, kind="ceramic resonator", value="503 kHz"),
        split_supply,
    ],
)
def test_what_is_odd_for_a_reason_is_let_pass(change: Change) -> None:
    changed = fields()
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
    changed = fields()
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
    changed = fields()
    part(1, value=value)(changed)
    changed["application"]["pull_in"] = pull_in
    if good:
        assert Chip.model_validate(changed)
    else:
        with pytest.raises(ValidationError, match="for PAL-B/G"):
            Chip.model_validate(changed)
