"""Whole-chip rules: each with a chip that breaks it, and what is said then."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from pinfolio.schema import Chip, ChipRuleError, Finding
from pinfolio.schema.rules import RULES
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


SINE = {"kind": "sine", "frequency": "1 kHz"}
BAD: list[tuple[str, Change, str]] = [
    ("pins-complete", pin(4, number=3), "found pin 3 twice, expected it once"),
    ("pins-complete", pin(4, number=9), "found no pin 4, expected each of the 4 pins of SIP-4"),
    ("pins-complete", lambda c: c["pins"].reverse(), "found pin 3 after pin 4"),
    ("symbols-once", pin(4, symbol="in"), "found symbol in on pins 3 and 4"),
    ("names-once", lambda c: c["sources"].append(c["sources"][0]), "found id sheet twice"),
    ("names-once", part(1, ref="R1"), "found ref R1 twice"),
    ("references-exist", shows(3, condition="color bars"), "expected one of colour bars"),
    ("references-exist", shows(3, source={"id": "shet"}), "found source 'shet'"),
    ("ends-exist", part(0, joins=["pin 4", "nod-a"]), "found 'nod-a', expected a pin, a node"),
    ("ends-exist", part(0, joins=["pin 5", "ground"]), "(there are pins 1 to 4)"),
    ("ends-exist", lambda c: c["blocks"][0].update(needs=["osc"]), "expected a pin or a block"),
    ("supply-and-ground", pin(1, role="input"), "expected a pin with role supply"),
    ("supply-and-ground", pin(2, role="unused"), "found no ground pin"),
    ("dc-possible", shows(1, dc="9 V"), "found DC of 9 V, expected 0 V to the supply's 8.4 V"),
    ("dc-possible", shows(3, dc="6.5 V"), "no more than the absolute maximum of 6 V"),
    ("waveform-possible", shows(3, waveform={**SINE, "vpp": "8 Vpp"}), "a peak of -1 V"),
    ("waveform-possible", shows(3, waveform={**SINE, "vpp": "6.3 Vpp"}), "absolute maximum of 6 V"),
    ("waveform-on-dc", shows(4, dc="4 V"), "found DC 4 V, expected the waveform's mean, 93"),
    ("crystal-fits", part(1, value="3.579545 MHz"), "expected 4.433619 MHz for PAL-B/G"),
    ("relations-elsewhere", lambda c: c["similar"][0].update(part="qz1000"), "another chip"),
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
    named = {rule.__name__.replace("_", "-") for rule in RULES}
    assert named == {rule for rule, _, _ in BAD}


def test_the_nearest_right_word_is_offered() -> None:
    assert findings(part(0, joins=["pin 4", "nod-a"]))[0].write == "node-a"


def test_a_finding_leads_to_its_place() -> None:
    assert findings(shows(3, condition="dark"))[0].at == ("pins", 2, "expectations", 0, "condition")


@pytest.mark.parametrize(
    "change",
    [
        shows(3, waveform={**SINE, "vpp": "8 Vpp"}, dc="2 V", beyond_supply="Coil kick."),
        part(1, value="6 MHz", why="Clock of the text decoder on the same board."),
        part(1, value="8.867238 MHz"),
        part(1, kind="ceramic resonator", value="503 kHz"),
    ],
)
def test_a_stated_reason_excuses(change: Change) -> None:
    changed = fields()
    change(changed)
    assert Chip.model_validate(changed)
