"""A candidate fits, works or does not: limits of value, rating and voltage, and its corner.

Sources: Thevenin and 1 / (2 pi R C), R / (2 pi L), any circuit textbook.
"""

from __future__ import annotations

import math
from typing import Any

import pytest
from pinfolio.plugins.diagnosis.substitution.candidates import Candidate, read_candidate
from pinfolio.plugins.diagnosis.substitution.verdicts import Verdict, judge_candidates
from pinfolio.schema import Chip, Part


def make_chip(part: dict[str, Any], dc: str = "6 V") -> Chip:
    """A chip of 12 V whose pin 1 of 1 kΩ shows ``dc``, with one part at it."""
    sheet = {"id": "sheet"}

    def pin(number: int, symbol: str, role: str, volts: str | None, **more: Any) -> dict[str, Any]:
        shown = [{"condition": "bars", "dc": volts, "source": sheet}] if volts else []
        return {
            "number": number, "symbol": symbol, "function": symbol, "role": role,
            "expectations": shown, **more,
        }  # fmt: skip

    return Chip.model_validate(
        {
            "file_format": "pinfolio chip 1", "part": "QZ1", "maker": "Nobody",
            "kind": "chroma/luma processor", "summary": "Invented for this test.",
            "invented": True, "package": {"family": "DIP", "pins": 8},
            "supplies": [{"name": "VCC", "pins": [8], "voltage": "12 V", "current": "20 mA"}],
            "sources": [{**sheet, "kind": "data sheet", "title": "Sheet"}],
            "conditions": [{"name": "bars", "means": "Bars."}],
            "pins": [
                pin(1, "OUT", "output", dc, resistance="1 kΩ"),
                *(pin(n, f"NC{n}", "unused", None) for n in range(2, 7)),
                pin(7, "GND", "ground", None), pin(8, "VCC", "supply", "12 V"),
            ],
            "application": {"parts": [{"purpose": "test", "ref": "P1", **part}]},
        }
    )  # fmt: skip


def judge(chip: Chip, *texts: str) -> list[Verdict]:
    part: Part = chip.application.parts[0]
    tried: list[Candidate] = [read_candidate(text, part) for text in texts]
    return judge_candidates(chip, part, tried, "bars")


def list_verdicts(chip: Chip, *texts: str) -> dict[str, str]:
    return {one.candidate.text: one.verdict for one in judge(chip, *texts)}


CAPACITOR = {"kind": "capacitor", "value": "100 nF", "joins": ["pin 1", "ground"]}
ELECTROLYTIC = {**CAPACITOR, "kind": "electrolytic capacitor", "value": "100 µF"}
RESISTOR = {"kind": "resistor", "value": "2 kΩ", "joins": ["pin 1", "ground"]}


@pytest.mark.parametrize(
    ("part", "texts"),
    [
        (
            CAPACITOR,
            {"102n": "fits", "109n": "fits", "91n": "fits", "112n": "works", "330n": "works"},
        ),
        (ELECTROLYTIC, {"129u": "fits", "71u": "fits", "133u": "works", "60u": "works"}),
        ({**CAPACITOR, "tolerance": "5 %"}, {"104n": "fits", "107n": "works"}),
    ],
)
def test_a_value_within_the_tolerance_fits_and_another_works(
    part: dict[str, Any], texts: dict[str, str]
) -> None:
    """Of a part of its kind: a tenth, an electrolytic a third. Common practice."""
    assert list_verdicts(make_chip(part), *texts) == texts


def test_the_nearest_value_comes_first_and_eight_are_listed() -> None:
    texts = ["330n", "10n", "98n", "220n", "150n", "47n", "120n", "68n", "33n", "100n"]
    found = judge(make_chip(CAPACITOR), *texts)
    assert [one.candidate.text for one in found[:3]] == ["100n", "98n", "120n"]
    assert len(found) == 8
    assert judge(make_chip(CAPACITOR)) == []


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("101n", "the same value"),
        ("108n", "8% more than 100 nF"),
        ("80n", "20% less than 100 nF"),
    ],
)
def test_how_far_off_it_is_is_told(text: str, why: str) -> None:
    assert judge(make_chip(CAPACITOR), text)[0].why[0] == why


@pytest.mark.parametrize(("text", "verdict"), [("100n 63V", "fits"), ("100n 50V", "do not")])
def test_a_lower_rating_does_not_do(text: str, verdict: str) -> None:
    (found,) = judge(make_chip({**CAPACITOR, "rating": "63 V"}), text)
    assert found.verdict == verdict
    assert ("rated 50 V where 63 V is needed" in found.why) == (verdict == "do not")


@pytest.mark.parametrize(
    ("text", "pin_v", "verdict"),
    [("2k", 6.0, "fits"), ("2k4", 6.35, "works"), ("1k6", 5.54, "works"), ("3k3", 6.91, "do not"),
     ("1k2", 4.91, "do not")],
)  # fmt: skip
def test_a_resistor_must_leave_the_voltage_within_its_limits(
    text: str, pin_v: float, verdict: str
) -> None:
    """9 V behind 1 kΩ: 6 V on 2 kΩ, of which a tenth either way is assumed good."""
    (found,) = judge(make_chip(RESISTOR), text)
    assert found.verdict == verdict
    if verdict == "do not":
        assert any(why.startswith("DC at pin 1 would be ") for why in found.why)
        assert float(found.why[0].split()[-2]) == pytest.approx(pin_v, rel=0.04)


def test_a_filter_is_told_with_the_corner_it_makes() -> None:
    """100 nF and 220 nF across 1 kΩ: 1.59 kHz and 723 Hz."""
    (found,) = judge(make_chip(CAPACITOR), "220n")
    (corner,) = [why for why in found.why if why.startswith("corner with ")]
    ohm = float(corner.split()[2])
    assert ohm * (1000 if "kΩ" in corner else 1) == pytest.approx(1000, rel=0.15)
    before, after = corner.split(" from ")[1].split(" to ")
    assert float(before.split()[0]) == pytest.approx(
        1 / (2 * math.pi * 1e3 * 100e-9) / 1e3, rel=0.15
    )
    assert float(after.split()[0]) == pytest.approx(1 / (2 * math.pi * 1e3 * 220e-9), rel=0.15)


def test_a_resistor_makes_no_corner_and_two_parts_are_given_the_preferred_value() -> None:
    (alone,) = judge(make_chip(RESISTOR), "2k2")
    assert not [why for why in alone.why if why.startswith("corner")]
    assert alone.preferred == ""
    (two,) = judge(make_chip(CAPACITOR), "47n parallel 47n")
    assert two.candidate.value == pytest.approx(94e-9)
    assert two.preferred == "100 nF"
    assert two.document()["nearest_preferred"] == "100 nF"
    assert two.document()["verdict"] == "fits"
