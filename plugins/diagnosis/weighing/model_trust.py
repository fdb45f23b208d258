"""How far the model of a board is trusted: the numbers of ``model_trust.yaml``."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import yaml


@dataclass(frozen=True)
class ErrorChances:
    """Chances that the model is wrong about a point that a fault leaves alone, or moves."""

    unmoved: float
    moved: float
    symptom_against: float
    """Chance of a symptom that the model's picture does not show."""


@dataclass(frozen=True)
class ModelTrust:
    """The numbers of the file, by the names there."""

    sound: ErrorChances
    doubtful: ErrorChances
    wrong_about_a_fault: float
    wrong_about_a_chip: float
    evidence_then: float
    then_good: float
    wrong_at_the_fault: float
    move_spread: dict[str, float]
    wide_spread: dict[str, float]
    how_often_wide: float
    spread_at_the_fault: float
    good_spread: dict[str, float]
    unstated_signal: dict[str, float]
    words: dict[str, float]
    no_symptom: float


@cache
def model_trust() -> ModelTrust:
    """Return the numbers that come with the package."""
    text = files(__package__).joinpath("model_trust.yaml").read_text(encoding="utf-8")
    # The file's names are in words, for a reader who judges them; the fields are ours.
    data: dict[str, Any] = yaml.safe_load(text)
    point_chances, symptom_chances = (
        data["wrong about a point"],
        data["symptom against the picture"],
    )
    return ModelTrust(
        sound=ErrorChances(**point_chances["sound"], symptom_against=symptom_chances["sound"]),
        doubtful=ErrorChances(
            **point_chances["doubtful"], symptom_against=symptom_chances["doubtful"]
        ),
        wrong_about_a_fault=data["wrong about a fault"],
        wrong_about_a_chip=data["wrong about a chip"],
        evidence_then=data["evidence then counts"],
        then_good=data["then as in a good set"],
        wrong_at_the_fault=data["wrong about a move at the fault itself"],
        move_spread=data["spread of a move"],
        wide_spread=data["wide spread of a move"],
        how_often_wide=data["how often wide"],
        spread_at_the_fault=data["spread at the fault itself"],
        good_spread=data["spread of good boards"],
        unstated_signal=data["signal that is not stated"],
        words=data["words"],
        no_symptom=data["no symptom of a bad picture"],
    )
