"""Symptoms by all of their names, and their fit to a whole picture."""

from __future__ import annotations

import numpy as np
import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.board.cloud import FEATURES
from pinfolio.plugins.diagnosis.symptoms.catalogue import (
    UnknownSymptom,
    find_symptom,
    load_usual_symptoms,
)
from pinfolio.plugins.diagnosis.weighing.pictures import fit_of_pictures

CHIP = load_chip(next(path for path in chip_files() if path.stem == "mdq4628"))
FEATURE = {name: column for column, name in enumerate(FEATURES)}


def fit(picture: dict[str, float], *names: str) -> float:
    """Return how well a picture, good except the given features, fits symptoms told together."""
    shown = np.ones(len(FEATURES))
    for name, share in picture.items():
        shown[FEATURE[name]] = share
    return float(fit_of_pictures(FEATURE, shown, [find_symptom(CHIP, name) for name in names]))


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("no color", "no colour"),
        ("Black and white", "no colour"),
        ("black-and-white picture", "no colour"),
        ("too much colour", "too strong colour"),
        ("snowy picture", "snow"),
        ("off tune", "mistuned"),
        ("picture too bright", "too bright"),
        ("gray not gray", "colour cast"),
        ("foldover", "field fold-over"),
        ("one bright line", "no vertical deflection"),
    ],
)
def test_synonyms_and_either_spelling(written: str, name: str) -> None:
    assert find_symptom(CHIP, written).name == name


def test_no_two_symptoms_share_a_synonym() -> None:
    words = [word for symptom in load_usual_symptoms() for word in (symptom.name, *symptom.also)]
    twice = {word for word in words if words.count(word) > 1}
    assert twice == set()


def test_an_unknown_one_is_refused_with_the_nearest() -> None:
    with pytest.raises(UnknownSymptom, match=r"nearest: .*no green.*there are: "):
        find_symptom(CHIP, "no gren")


def test_no_colour_says_that_black_and_white_is_good() -> None:
    """Luminance, sync and scans are cleared by it: common practice."""
    assert fit({"saturation": 0.0}, "no colour") > 0.9
    assert fit({"saturation": 0.0, "line lock": 0.0}, "no colour") < 0.1
    assert fit({"saturation": 0.0, "luminance": 0.0}, "no colour") < 0.1
    assert fit({}, "no colour") < 0.01


def test_two_at_once_are_one_observation_of_one_picture() -> None:
    picture = {"line lock": 0.0, "field lock": 0.0}
    assert fit(picture, "picture tears", "picture rolls") > 0.9
    assert fit({"line lock": 0.0}, "picture tears", "picture rolls") < 0.1
    assert fit(picture, "picture rolls") < 0.1, "rolling alone says that the lines are locked"


def test_each_symptom_is_shown_by_some_picture_and_not_by_a_good_one() -> None:
    values = {"gone": 0.0, "weak": 0.4, "bad": 0.3, "much": 1.7}
    for symptom in load_usual_symptoms():
        picture = {name: values[state] for name, state in symptom.shows[0].items()}
        assert fit(picture, symptom.name) > 0.8, symptom.name
        assert fit({}, symptom.name) < 0.05, symptom.name
