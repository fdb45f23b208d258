"""From the picture of a symptom to the chips that can be its cause."""

from __future__ import annotations

from pinfolio.loaders import Folio
from pinfolio.plugins.diagnosis.symptoms.catalogue import (
    find_symptom,
    list_known_symptoms,
    load_usual_symptoms,
)
from pinfolio.plugins.search.symptom_chips import PICTURED, find_chips_for_symptom, find_pictured


def list_parts(demo: Folio, name: str) -> list[str]:
    return [one.chip.part for one in find_chips_for_symptom(demo, name)]


def test_there_are_fourteen_and_fault_finding_knows_each(demo: Folio) -> None:
    assert len(PICTURED) == 14
    usual = {symptom.name for symptom in load_usual_symptoms()}
    for one in PICTURED:
        assert {one.otherwise or one.name, *one.also} <= usual


def test_the_words_under_the_pictures_are_understood_when_typed(demo: Folio) -> None:
    chip = demo.chip("OGX7342")
    for one in PICTURED:
        if one.also or one.words == "Dead":  # of three colours, and with or without sound
            continue
        assert find_symptom(chip, one.words).name == (one.otherwise or one.name)


def test_a_chip_that_the_signal_does_not_pass_is_not_offered(demo: Folio) -> None:
    assert list_parts(demo, "no sound") == ["OGX1524", "OGX8132"]
    assert list_parts(demo, "no vertical deflection") == [
        "KYE2620",
        "OGX7342",
        "TQZ3609",
        "TQZ5752",
    ]
    assert "OGX8132" not in list_parts(demo, "no colour")


def test_every_chip_offered_understands_its_symptom(demo: Folio) -> None:
    for one in PICTURED:
        for offered in find_chips_for_symptom(demo, one.name):
            known = list_known_symptoms(demo.chip(offered.chip.part))
            assert offered.symptom in {symptom.name for symptom in known}, offered


def test_a_symptom_that_one_chip_file_states_is_named_otherwise_for_others(demo: Folio) -> None:
    offered = find_chips_for_symptom(demo, "set clicks and stays dark")
    named = {one.chip.part: one.symptom for one in offered}
    assert named["TQZ5752"] == "set clicks and stays dark"
    assert named["OGX7342"] == "no line drive"


def test_without_a_picture_every_chip_is_in_question(demo: Folio) -> None:
    assert len(list_parts(demo, "")) == demo.info.chips
    assert find_pictured("no blue") == find_pictured("no red")
