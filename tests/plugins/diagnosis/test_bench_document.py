"""A job as the bench shows it: one thing to do, suspects that add up, the way, the readings."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.answers.bench_document import make_bench_document, round_to_hundred
from pinfolio.plugins.diagnosis.answers.hunt import find_fault
from pinfolio.plugins.diagnosis.answers.signal_way import order_stages
from pinfolio.plugins.readings.address_fields import read_address_fields
from pinfolio.plugins.readings.reading_syntax import read_line
from pinfolio.schema.instruments.ordinary import BUILT_IN

DECODER = next(chip for path in chip_files() if (chip := load_chip(path)).part == "KYE4728")
JUMPING = "4 freq=1.05MHz seen=jumping"


def make_document(*lines: str, symptom: str = "no colour") -> dict[str, Any]:
    readings = [read_line(line) for line in lines]
    return make_bench_document(find_fault(DECODER, [symptom], readings, BUILT_IN.choose()))


@given(st.lists(st.floats(1e-6, 1), min_size=1, max_size=9))
def test_percents_add_up_to_a_hundred(sizes: list[float]) -> None:
    chances = [size / sum(sizes) for size in sizes]
    percents = round_to_hundred(chances)
    assert sum(percents) == 100
    assert all(abs(n - 100 * c) < 1 for n, c in zip(percents, chances, strict=True))


def test_suspects_and_all_others_are_everything_and_the_chip_is_last() -> None:
    bench = make_document(JUMPING)
    assert sum(row["percent"] for row in bench["suspects"]) + bench["others_percent"] == 100
    assert [row["kind"] for row in bench["suspects"]].count("chip") == 1
    assert bench["suspects"][-1]["name"] == "The chip itself, KYE4728"
    assert bench["suspects"][0]["name"] == "C406, 22p capacitor"


def test_a_measurement_says_where_and_what_should_be_there() -> None:
    now = make_document()["now"]
    assert now["kind"] == "measure"
    assert now["expected"]["low"] < now["expected"]["value"] < now["expected"]["high"]
    assert now["said"].startswith(now["asked"])
    assert now["where"] == "left row, 2nd from the notch end, beside 1 C IN and 3 GND1"
    assert now["outcomes"]
    assert now["cautions"]


@pytest.mark.parametrize("choice", range(5))
def test_an_answer_to_what_is_asked_is_a_reading(choice: int) -> None:
    now = make_document()["now"]
    answer = now["answers"][min(choice, len(now["answers"]) - 1)]
    fields = [(name, text) for name, text in now["fields"]] + [(answer["field"], answer["value"])]
    (reading,) = read_address_fields(fields)
    after = make_document(reading.line)
    assert after["read"][0]["line"] == reading.line
    assert (after["now"]["at"], after["now"]["quantity"]) != (now["at"], now["quantity"])


def test_what_was_read_is_listed_newest_first_with_its_verdict() -> None:
    bench = make_document(JUMPING, "crystal-node freq=ok", "5 skip", "C409: good")
    assert [(row["index"], row["is_right"]) for row in bench["read"]] == [
        (3, True), (2, None), (1, True), (0, False)
    ]  # fmt: skip
    assert bench["read"][-1]["verdict"] == "off frequency"
    assert bench["read"][2]["place"] == "between the crystal and its series capacitor"


def test_the_way_of_the_signal_is_in_order_and_leaves_out_what_the_complaint_clears() -> None:
    way = [stage["id"] for stage in make_document()["way"]]
    assert way.index("acc-amplifier") < way.index("burst-gate") < way.index("demodulators")
    assert "rgb-output" not in way
    names = [name for group in make_document()["cleared"] for name in group["what"]]
    assert "rgb-output" in names


def test_stages_come_after_those_that_feed_them() -> None:
    order = [block.id for block in order_stages(DECODER)]
    assert sorted(order) == sorted(block.id for block in DECODER.blocks)
    assert order.index("luminance-clamp") < order.index("matrix") < order.index("rgb-output")


def test_a_proved_part_is_fitted_and_then_the_wrong_reading_must_be_right() -> None:
    bench = make_document(JUMPING, "crystal-node freq=4.43362MHz", "C406: open")
    assert bench["now"]["kind"] == "fit"
    assert bench["now"]["steps"][0].startswith("Fit 22p capacitor, 5 % or better, C0G")
    assert bench["must_read"][0]["at"] == "pin 4"
    assert bench["must_read"][0]["quantity"] == "frequency"
    assert bench["must_read"][0]["expected"]["words"] == "4.43362 MHz"


def test_a_joint_that_was_bad_ends_the_matter() -> None:
    bench = make_document("pin 4 none", "pin 4: joint was bad")
    assert bench["suspects"][0]["name"].startswith("The joint of pin 4")
    assert bench["read"][0]["verdict"] == "its joint was bad"


def test_voltages_that_come_next_anyhow_are_read_while_the_meter_is_in_the_hand() -> None:
    bench = make_document()
    offered = [bench["now"], *bench["together"]]
    assert {(one["kind"], one["quantity"]) for one in offered} == {("measure", "dc")}
    assert len({one["pin"] for one in offered}) == len(offered) == 3
    alone = make_document("2 dc=ok")  # the next after it is asked by itself, were this one right
    assert offered[1]["at"] == alone["now"]["at"]


def test_nothing_is_read_together_with_a_signal_or_a_proof() -> None:
    asked = make_document("4 vpp=ok", "2 dc=ok", "6 dc=ok", "13 dc=ok")
    assert asked["now"]["quantity"] != "dc"
    assert asked["together"] == []
