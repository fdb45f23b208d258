"""Kept between the steps of a hunt: only what the next step would compute to the same figures."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from made_cloud import Good, Made, make_cloud
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.deciding.outcomes import (
    QUANTITIES,
    Boards,
    pick_likely_boards,
    sort_into_steps,
)
from pinfolio.plugins.diagnosis.evidence.observations import Observation
from pinfolio.plugins.diagnosis.symptoms.catalogue import find_symptom
from pinfolio.plugins.diagnosis.weighing import likelihood
from pinfolio.plugins.diagnosis.weighing.likelihood import weigh
from pinfolio.plugins.diagnosis.weighing.model_trust import model_trust
from pinfolio.plugins.diagnosis.weighing.pictures import fit_of_symptoms
from pinfolio.plugins.diagnosis.weighing.posterior import order_by_chance
from pinfolio.plugins.diagnosis.weighing.same_object import Same
from pinfolio.plugins.diagnosis.weighing.spreads import compute_spreads

CHIP = load_chip(next(path for path in chip_files() if path.stem == "kye2620"))
GOOD = {"pin 2": Good(dc=6.0, vpp=3.0, hz=15625.0)}
FAULT = Made("part", "C501", "open", dc={"pin 2": 3.0}, shown={"line lock": 0.0})
CLOUD = make_cloud(CHIP.part, "colour bars", GOOD, [FAULT])
SPREADS = compute_spreads(CHIP, CLOUD)
READING = Observation("pin 2", "dc", 4.0, 0.05)


def test_a_reading_is_weighed_once_and_another_anew() -> None:
    first = weigh(CHIP, CLOUD, SPREADS, READING)
    assert weigh(CHIP, CLOUD, SPREADS, replace(READING)) is first
    assert (
        weigh(CHIP, CLOUD, SPREADS, replace(READING, value=5.0)).predicted != first.predicted
    ).any()


def test_with_other_trust_in_the_model_it_is_weighed_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    first = weigh(CHIP, CLOUD, SPREADS, READING)
    unsure = replace(model_trust(), move_spread={"dc": 5.0, "vpp": 5.0, "frequency": 5.0})
    monkeypatch.setattr(likelihood, "model_trust", lambda: unsure)
    assert (weigh(CHIP, CLOUD, SPREADS, READING).predicted[1] != first.predicted[1]).all()


def test_a_reading_on_other_boards_is_weighed_anew() -> None:
    other = make_cloud(CHIP.part, "colour bars", {"pin 2": Good(dc=4.0, vpp=3.0)}, [FAULT])
    here, there = (weigh(CHIP, cloud, SPREADS, READING) for cloud in (CLOUD, other))
    assert there.predicted[0].mean() > here.predicted[0].mean()


def test_the_complaint_is_compared_with_the_boards_once() -> None:
    torn, rolling = (find_symptom(CHIP, name) for name in ("picture tears", "picture rolls"))
    first = fit_of_symptoms(CHIP, CLOUD, SPREADS, [torn])
    assert fit_of_symptoms(CHIP, CLOUD, SPREADS, (torn,)) is first
    assert first[1].mean() > fit_of_symptoms(CHIP, CLOUD, SPREADS, [rolling])[1].mean()


def test_equal_chances_keep_their_order_whatever_their_last_digits() -> None:
    chances = np.array([0.1, 0.3, 0.1 + 1e-16, 0.3 - 1e-16, 0.2])
    assert order_by_chance(chances).tolist() == [1, 3, 4, 0, 2]


def test_the_same_object_is_equal_to_itself_alone() -> None:
    text = ["a"]
    assert Same(text) == Same(text)
    assert Same(text) != Same(["a"])
    assert hash(Same(text)) == hash(Same(text))
    assert Same(text) != text


def test_steps_of_boards_are_the_same_asked_for_at_once_or_little_by_little() -> None:
    first, second = (make_cloud(CHIP.part, "colour bars", GOOD, [FAULT]) for _ in range(2))
    spreads = compute_spreads(CHIP, first)
    every = pick_likely_boards(np.full((2, 24), 1 / 48), each=24)
    few = Boards(every.rows[::5], every.draws[::5], every.weights[::5])
    for quantity in QUANTITIES:
        sort_into_steps(first, spreads, few, quantity)
        little_by_little = sort_into_steps(first, spreads, every, quantity)
        assert (little_by_little == sort_into_steps(second, spreads, every, quantity)).all()
        assert (little_by_little[::5] == sort_into_steps(first, spreads, few, quantity)).all()
