"""A part measured out of circuit. Common practice: a tester's words, and values by tolerance."""

from __future__ import annotations

from typing import Any

import pytest
from pinfolio.plugins.diagnosis.evidence.part_tests import (
    find_good_share,
    find_outcome_chance,
    is_bad,
    read_part_result,
)
from pinfolio.schema import Part
from pinfolio.schema.reading import BadReading

WAYS = (
    "open", "shorted", "leaky", "value low", "value high", "dried out", "shorted turns", "detuned",
    "dead", "weak", "off frequency",
)  # fmt: skip
OUTCOMES = (
    "good", "open", "shorted", "leaky", "value too low", "value too high", "off frequency",
)  # fmt: skip


def part(kind: str, value: str, **fields: Any) -> Part:
    given = {"ref": "P1", "kind": kind, "value": value, "joins": ("pin 1", "ground")}
    return Part.model_validate({**given, "purpose": "test", **fields})


def read_outcome(kind: str, value: str, found: str, **fields: Any) -> str:
    return read_part_result(part(kind, value, **fields), found).outcome


@pytest.mark.parametrize(
    ("found", "turned_out"),
    [
        ("905", "good"), ("1.095k", "good"), ("895", "value too low"), ("1.105k", "value too high"),
        ("51", "value too low"), ("49", "shorted"), ("49k", "value too high"), ("51k", "open"),
    ],
)  # fmt: skip
def test_a_resistor_of_a_kilohm_is_good_within_a_tenth(found: str, turned_out: str) -> None:
    """Below a twentieth of its value it is shorted, above fifty times it is open."""
    assert read_outcome("resistor", "1 kΩ", found) == turned_out


@pytest.mark.parametrize(
    ("dielectric", "turned_out"),
    [("C0G", "value too low"), ("polyester", "good"), ("Y5V", "good"), (None, "good")],
)
def test_a_capacitor_is_as_close_as_its_dielectric_is_made(
    dielectric: str | None, turned_out: str
) -> None:
    """Nine per cent low. Common practice: C0G within 5 %, polyester within 10 %."""
    assert read_outcome("capacitor", "68 pF", "62 pF", dielectric=dielectric) == turned_out


@pytest.mark.parametrize(
    ("found", "turned_out"),
    [
        ("71 µF", "good"), ("159 µF", "good"), ("69 µF", "value too low"),
        ("161 µF", "value too high"), ("5.1 µF", "value too low"), ("4.9 µF", "open"),
        ("6000 µF", "value too high"),
    ],
)  # fmt: skip
def test_an_electrolytic_may_have_far_more_and_less_a_third(found: str, turned_out: str) -> None:
    """100 µF: as they are sold, +60 and -30 %; a capacitor with next to nothing is open."""
    assert read_outcome("electrolytic capacitor", "100 µF", found) == turned_out


@pytest.mark.parametrize(
    ("kind", "value", "good", "bad", "bad_outcome"),
    [
        ("capacitor", "100 nF", "114 nF", "116 nF", "value too high"),
        ("capacitor", "100 nF", "86 nF", "84 nF", "value too low"),
        ("trimmer capacitor", "20 pF", "31 pF", "33 pF", "value too high"),
        ("potentiometer", "10 kΩ", "7.6 kΩ", "7.4 kΩ", "value too low"),
        ("coil", "100 µH", "89 µH", "87 µH", "value too low"),
        ("crystal", "4.433619 MHz", "4.4344 MHz", "4.4346 MHz", "off frequency"),
        ("ceramic resonator", "500 kHz", "502.4 kHz", "502.6 kHz", "off frequency"),
        ("ceramic filter", "5.5 MHz", "5.4 MHz", "5.38 MHz", "off frequency"),
    ],
)
def test_each_kind_has_its_tolerance(
    kind: str, value: str, good: str, bad: str, bad_outcome: str
) -> None:
    assert read_outcome(kind, value, good) == "good"
    assert read_outcome(kind, value, bad) == bad_outcome


@pytest.mark.parametrize(
    ("kind", "value", "tolerance", "share"),
    [
        ("resistor", "1 kΩ", "5 %", 0.05),
        ("resistor", "1 kΩ", "1 %", 0.02),  # a meter's own error
        ("capacitor", "100 nF", "10 %", 0.1),
        ("capacitor", "100 nF", "2 %", 0.05),
        ("crystal", "4 MHz", "0.01 %", 1e-4),
    ],
)
def test_a_stated_tolerance_counts_but_for_what_a_meter_cannot_tell(
    kind: str, value: str, tolerance: str, share: float
) -> None:
    low, high = find_good_share(part(kind, value, tolerance=tolerance))
    assert (low, high) == pytest.approx((1 - share, 1 + share))


@pytest.mark.parametrize(
    ("found", "turned_out"), [("good", "good"), ("OPEN", "open"), ("leaky", "leaky")]
)
def test_a_word_will_do(found: str, turned_out: str) -> None:
    result = read_part_result(part("capacitor", "100 nF"), found)
    assert (result.ref, result.outcome, result.why) == ("P1", turned_out, f"found {found}")
    assert result.is_good == (turned_out == "good")
    assert is_bad(result.outcome) != result.is_good


def test_a_value_is_told_with_what_is_good() -> None:
    result = read_part_result(part("resistor", "1 kΩ"), "2k")
    assert result.why == "2 kΩ, 900 Ω to 1.1 kΩ is good"
    crystal = read_part_result(part("crystal", "4.433619 MHz"), "4.44 MHz")
    assert crystal.why.startswith("4.44 MHz, 4.432732 MHz to ")


@pytest.mark.parametrize(("kind", "found"), [("resistor", "odd"), ("transistor", "5k2")])
def test_what_cannot_be_understood_is_refused(kind: str, found: str) -> None:
    with pytest.raises(BadReading, match=r"P1: .* is not known; write one of "):
        read_part_result(part(kind, "1 kΩ" if kind == "resistor" else "1 V"), found)


class TestChances:
    @pytest.mark.parametrize("way", WAYS)
    def test_of_all_outcomes_add_up_to_one(self, way: str) -> None:
        """But for the two in a thousand in which a slip shows a good part."""
        assert sum(find_outcome_chance(one, way) for one in OUTCOMES) == pytest.approx(
            1.0, abs=0.003
        )

    def test_of_a_good_part_add_up_to_one(self) -> None:
        assert sum(find_outcome_chance(one, None) for one in OUTCOMES) == pytest.approx(1.0)
        assert (
            find_outcome_chance("good", None)
            == find_outcome_chance("joint good", None)
            == pytest.approx(0.99)
        )

    @pytest.mark.parametrize("way", WAYS)
    def test_bad_is_whatever_is_not_good(self, way: str) -> None:
        bad = [one for one in OUTCOMES if one != "good"]
        assert find_outcome_chance("bad", way) == pytest.approx(
            sum(find_outcome_chance(one, way) for one in bad), abs=0.003
        )
        assert find_outcome_chance("bad", None) == pytest.approx(0.01)

    @pytest.mark.parametrize(
        ("way", "shown"),
        [
            ("open", "open"), ("shorted", "shorted"), ("leaky", "leaky"),
            ("value low", "value too low"), ("value high", "value too high"),
            ("dried out", "value too low"), ("shorted turns", "value too low"), ("dead", "open"),
            ("off frequency", "off frequency"),
        ],
    )  # fmt: skip
    def test_a_failure_mostly_shows_as_what_it_is(self, way: str, shown: str) -> None:
        chances = {one: find_outcome_chance(one, way) for one in OUTCOMES}
        assert max(chances, key=lambda one: chances[one]) == shown
        assert chances[shown] > 0.88
        assert chances["good"] < 0.03

    def test_a_weak_part_passes_one_test_in_ten(self) -> None:
        assert find_outcome_chance("good", "weak") == pytest.approx(0.1, abs=0.003)

    @pytest.mark.parametrize(
        ("way", "plain"),
        [
            ("slider open", "open"),
            ("base to emitter shorted", "shorted"),
            ("open, at times", "open"),
        ],
    )
    def test_a_longer_name_ends_with_the_way(self, way: str, plain: str) -> None:
        assert find_outcome_chance("open", way) == find_outcome_chance("open", plain)
        assert find_outcome_chance("shorted", way) == find_outcome_chance("shorted", plain)

    def test_a_joint_that_was_bad_is_found_mostly_behind_an_open_part(self) -> None:
        assert find_outcome_chance("joint bad", "joint open") == pytest.approx(0.97)
        assert find_outcome_chance("joint bad", "open") == pytest.approx(0.9)
        assert find_outcome_chance("joint bad", "shorted") < 0.01
        assert find_outcome_chance("joint bad", None) == pytest.approx(0.01)

    def test_a_bad_joint_leaves_the_part_good(self) -> None:
        assert find_outcome_chance("good", "bad joint") == pytest.approx(0.998, abs=0.003)
        assert find_outcome_chance("joint good", "open") == find_outcome_chance("good", "open")
