"""Verdicts on resistances between two points, the set off; junctions between them are named."""

from __future__ import annotations

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.answers.bench_document import make_bench_document
from pinfolio.plugins.diagnosis.answers.hunt import find_fault
from pinfolio.plugins.diagnosis.answers.job_document import make_job_document
from pinfolio.plugins.diagnosis.answers.remedy import choose_remedy
from pinfolio.plugins.diagnosis.answers.resistance_checks import (
    ResistanceCheck,
    check_resistances,
    list_junctions,
)
from pinfolio.plugins.diagnosis.board.cloud import Hypothesis
from pinfolio.plugins.diagnosis.evidence.observations import Resistance
from pinfolio.plugins.diagnosis.weighing.known_board import load_board
from pinfolio.plugins.readings.reading_syntax import PartReading, read_line
from pinfolio.schema.instruments.ordinary import BUILT_IN

CHIPS = {path.stem: load_chip(path) for path in chip_files() if path.stem in ("kye4728", "mdq3724")}


def check(stem: str, first: str, second: str, ohm: float) -> ResistanceCheck:
    board = load_board(CHIPS[stem], "colour bars")
    (one,) = check_resistances(board, (Resistance(first, second, ohm, 0.01),))
    return one


@pytest.mark.parametrize(
    ("ohm", "verdict"), [(6800, "as expected"), (900, "too low"), (60e3, "too high")]
)
def test_between_the_leads_of_a_resistor_its_value_is_good(ohm: float, verdict: str) -> None:
    """R405, 6.8 kΩ, with nothing beside it but the leaks of pin 5 and the filter."""
    found = check("kye4728", "pin 5", "apc-node", ohm)
    assert found.verdict == verdict
    assert found.low_ohm < 6800 < found.high_ohm
    assert found.why == ()


def test_to_ground_the_limits_of_the_chip_file_count() -> None:
    """Pin 17: 6.4 kΩ and 7.9 kΩ with the leads either way, and 30 % where no tolerance is given."""
    pin = CHIPS["kye4728"].pins[16]
    stated = next(e.resistance for e in pin.expectations if e.resistance is not None)
    assert stated.red_on_pin is not None
    found = check("kye4728", "pin 17", "ground", stated.red_on_pin.nominal)
    assert found.verdict == "as expected"
    assert found.low_ohm < stated.red_on_pin.nominal < found.high_ohm


def test_across_a_capacitor_nothing_is_good_and_a_leak_is_not() -> None:
    assert check("kye4728", "pin 4", "crystal-node", 20e6).verdict == "as expected"
    assert check("kye4728", "pin 4", "crystal-node", 20e6).span == "more than 5 MΩ"
    assert check("kye4728", "pin 4", "crystal-node", 100e3).verdict == "too low"


def test_a_junction_between_two_points_is_named_and_leaves_a_low_reading_open() -> None:
    """R314 leads from pin 17 to the base of Q302, whose emitter is the other point."""
    found = check("mdq3724", "pin 17", "emitter-green", 900)
    assert found.verdict == "cannot tell"
    assert found.why[0] == "Junctions lie between them: R314 and transistor Q302."
    assert "with the leads the other way round" in found.why[1]
    short = check("mdq3724", "pin 17", "emitter-green", 2)
    assert short.verdict == "too low", "no junction reads two ohms"


def test_a_zener_diode_to_ground_and_the_chips_own_diodes_are_named() -> None:
    named = list(list_junctions(CHIPS["mdq3724"], "pin 11", "ground"))
    assert "zener diode ZD301" in named
    assert any(name.startswith("the chip's own diodes at pin 11") for name in named)
    assert not [n for n in list_junctions(CHIPS["mdq3724"], "pin 13", "ground") if "own" in n]


def test_no_path_leads_through_ground_or_another_pin() -> None:
    assert list(list_junctions(CHIPS["kye4728"], "pin 5", "apc-node")) == []


def test_bench_and_json_say_the_same_of_a_resistance() -> None:
    chip = CHIPS["mdq3724"]
    lines = [read_line("17 to emitter-green ohms=900")]
    job = find_fault(chip, ["no green"], lines, BUILT_IN.choose())
    (row,) = make_bench_document(job)["read"]
    (stored,) = [
        one for one in make_job_document(job)["readings"] if one["quantity"] == "resistance"
    ]
    ends = "pin 17 G OUT to emitter of the green video amplifier"
    assert row["place"] == f"{ends}, good: {stored['expected']}"
    assert row["verdict"] == stored["verdict"] == "cannot tell"
    assert (row["is_right"], row["why"]) == (None, stored["why"])


@pytest.mark.parametrize(
    ("line", "found"),
    [
        ("4 leg to track 0.3", "joint good"),
        ("pin 4 leg to C406: 1.8", "joint good"),
        ("4 leg to the track ohms=2.2", "joint bad"),
        ("4 leg to track 4k7", "joint bad"),
    ],
)
def test_across_a_joint_a_resistance_proves_it(line: str, found: str) -> None:
    """A sound joint reads as the leads do, some tenths of an ohm; 2 Ω is common practice."""
    assert read_line(line) == PartReading("pin 4", found)


def test_a_joint_that_was_read_open_is_proved_and_one_that_was_read_sound_is_out() -> None:
    def job(line: str):  # type: ignore[no-untyped-def]
        return find_fault(CHIPS["kye4728"], ["no colour"], [read_line(line)], BUILT_IN.choose())

    assert job("4 leg to track 40").evidence.proved == (("joint", "4"),)
    sound = job("4 leg to track 0.2")
    assert sound.evidence.proved == ()
    assert sound.found.share_of(("joint", "4")) < 0.005
    assert make_bench_document(sound)["read"][0]["verdict"] == "its joint is good"


def test_the_proof_of_a_joint_tells_the_leg_from_the_track() -> None:
    """By the lead of the first part that the drawing has at the pin; without one, not at all."""
    chip = CHIPS["kye4728"]
    near = choose_remedy(chip, Hypothesis("joint", "4", "open", "", 1.0)).leg_or_track
    assert "from the leg itself to the lead of C406: below 2 Ω" in near
    bare = chip.model_copy(
        update={"application": chip.application.model_copy(update={"parts": ()})}
    )
    assert choose_remedy(bare, Hypothesis("joint", "4", "open", "", 1.0)).leg_or_track == ""
