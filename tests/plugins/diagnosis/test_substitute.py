"""The scrap box: the effect of another value in a part's place, calculated and ranked."""

from __future__ import annotations

import json
import re
from collections.abc import Callable

import pytest
from click.testing import Result
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.substitution.candidates import (
    CannotSubstitute,
    combine_box,
    find_preferred,
    find_replaceable_part,
    read_candidate,
)
from pinfolio.plugins.diagnosis.substitution.verdicts import (
    DO_NOT,
    Verdict,
    _find_caught_hz,
    judge_candidates,
)
from pinfolio.plugins.diagnosis.weighing.known_board import find_working_condition
from pinfolio.schema import Chip

Run = Callable[..., Result]


def read_chip(stem: str) -> Chip:
    return load_chip(next(path for path in chip_files() if path.stem == stem))


def try_candidates(stem: str, ref: str, *texts: str) -> dict[str, Verdict]:
    found = read_chip(stem)
    part = find_replaceable_part(found, ref)
    candidates = [read_candidate(text, part) for text in texts]
    verdicts = judge_candidates(found, part, candidates, find_working_condition(found))
    return {one.candidate.text: one for one in verdicts}


@pytest.mark.parametrize(
    ("text", "farads", "volts"),
    [
        ("27n", 27e-9, None),
        ("27n 63V", 27e-9, 63.0),
        ("104", 100e-9, None),
        ("22n parallel 4n7", 26.7e-9, None),
        ("10n 50V series 10n 100V", 5e-9, 50.0),
    ],
)
def test_what_can_be_written(text: str, farads: float, volts: float | None) -> None:
    part = find_replaceable_part(read_chip("kye2620"), "C501")
    found = read_candidate(text, part)
    assert found.value == pytest.approx(farads)
    assert found.rating_v == volts


def test_a_timing_capacitor_may_hardly_differ() -> None:
    found = try_candidates("kye2620", "C501", "4n7", "2n2")
    assert found["4n7"].verdict == "fits"
    assert found["2n2"].verdict == DO_NOT
    assert "would run 113% high" in found["2n2"].why[0]


def test_a_crystals_load_is_held_against_what_is_caught() -> None:
    found = try_candidates("tqz5752", "C731", "27p", "47p")
    assert found["27p"].verdict == "works"
    assert "pulls X702" in found["47p"].why[0]


@pytest.mark.parametrize(("text", "series_f"), [("18p", 18e-12), ("27p", 27e-12)])
def test_the_sentence_says_the_frequency_that_the_crystal_then_gives(
    text: str, series_f: float
) -> None:
    """In series with the pin's 100 pF; df / f = C1/2 (1/(C0+CL') - 1/(C0+CL)), IEC 60122-1.

    C1 16 fF and C0 5 pF are those of an ordinary crystal (common practice).
    """
    (found,) = try_candidates("kye4728", "C406", text).values()
    loads = [farad * 100e-12 / (farad + 100e-12) for farad in (series_f, 22e-12)]
    pull_hz = 4.43361875e6 * 8e-15 * (1 / (5e-12 + loads[0]) - 1 / (5e-12 + loads[1]))
    told = re.search(r"pulls X401 by .*Hz to ([0-9.]+) MHz, which is caught", found.sentence)
    assert told is not None
    assert float(told[1]) * 1e6 - 4.43361875e6 == pytest.approx(pull_hz, rel=0.1)


def test_a_free_running_oscillator_says_its_new_frequency_by_the_capacitor() -> None:
    """It goes with 1 / C: 15.625 kHz times 4.7 / 5.6, some of it strays."""
    (found,) = try_candidates("kye2620", "C501", "5n6").values()
    told = re.search(r"at pin 2 H CT would run 16% low, at ([0-9.]+) kHz", found.sentence)
    assert told is not None
    assert float(told[1]) == pytest.approx(15.625 * 4.7 / 5.6, rel=0.02)


def test_a_long_list_of_reasons_is_cut_in_its_sentence_and_whole_in_its_document() -> None:
    (found,) = try_candidates("kye2620", "C501", "5n6").values()
    assert len(found.why) > 4
    assert found.sentence.endswith(f"; and {len(found.why) - 3} more")
    assert found.document()["why"] == list(found.why)


def test_a_ceramic_resonator_is_held_against_the_lock_range_of_its_oscillator() -> None:
    chip = read_chip("tqz5752")
    part = next(one for one in chip.application.parts if one.ref == "X701")
    assert _find_caught_hz(chip, part) == 6000
    blocks = tuple(block.model_copy(update={"lock_range": None}) for block in chip.blocks)
    assert _find_caught_hz(chip.model_copy(update={"blocks": blocks}), part) == 1500


def test_too_low_a_rating_never_will_do() -> None:
    found = try_candidates("tqz5752", "C712", "1u 16V")
    assert found["1u 16V"].verdict == DO_NOT
    assert "rated 16 V where 50 V is needed" in found["1u 16V"].why


def test_a_divider_that_leaves_its_limits() -> None:
    found = try_candidates("tqz5752", "R716", "47k", "68k")
    assert found["47k"].verdict == "fits"
    assert "DC at pin 24 would be" in found["68k"].why[0]


def test_the_box_is_tried_singly_and_in_pairs() -> None:
    part = find_replaceable_part(read_chip("kye2620"), "C501")
    texts = [one.text for one in combine_box(["1n5", "3n3"], part)]
    assert "1n5 parallel 3n3" in texts
    assert "1n5 series 1n5" in texts
    assert len(texts) == 2 + 2 * 3


@pytest.mark.parametrize(
    ("ref", "told"), [("C5O1", "nearest: .*C501"), ("Q501", "no part|only resistors")]
)
def test_a_part_that_cannot_be_reckoned(ref: str, told: str) -> None:
    with pytest.raises(CannotSubstitute, match=told):
        find_replaceable_part(read_chip("kye2620"), ref)


def test_from_the_command_line(run: Run) -> None:
    told = run("substitute", "KYE2620", "C501", "--box", "1n5, 3n2", "--json")
    document = json.loads(told.stdout)
    assert document["candidates"][0]["with"] == "1n5 parallel 3n2"
    assert told.exit_code == 0
    assert run("substitute", "KYE2620", "C501", "--with", "1n").exit_code == 1
    assert run("substitute", "KYE2620", "C501", "--with", "4k7").exit_code == 2
    assert run("substitute", "KYE2620", "C501").exit_code == 2


def test_the_nearest_preferred_value_is_of_the_published_series() -> None:
    """IEC 60063: E24 for resistors, E12 for others; here from memory."""
    resistor = find_replaceable_part(read_chip("kye2620"), "R501")
    assert find_preferred(8000.0, resistor) == "8.2 kΩ"
    assert find_preferred(8200.0, resistor) == ""
    assert find_preferred(4.8e-9, find_replaceable_part(read_chip("kye2620"), "C501")) == "4.7 nF"
