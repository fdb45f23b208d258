"""How well the pictures of simulated boards fit the symptoms that were told.

Symptoms are one observation of the whole picture, however many were told: all that any of them
shows must be shown, all that every one of them leaves good is cleared.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ....schema import Chip
from ..board.cloud import Cloud
from ..evidence.observations import Observation
from ..symptoms.catalogue import Symptom
from .likelihood import weigh
from .model_trust import ModelTrust, model_trust
from .same_object import Same
from .spreads import Spreads

Numbers = NDArray[np.float64]

# Where a feature (1 in a good set) is called gone, weak, bad, too much or good; and how sharply.
_GONE_BELOW: Final = 0.3
_WEAK_BELOW: Final = 0.85
_BAD_BELOW: Final = 0.8
_MUCH_ABOVE: Final = 1.2
_GOOD_FROM: Final = 0.55
_GOOD_TO: Final = 1.6
_SHARPNESS: Final = 0.07
_VISIBLE: Final = 0.25  # off by as much, a customer sees it
_SAID_GOOD_YET_BAD: Final = 0.15  # beside the chance that the symptom itself was told wrongly
_LEAST_LIKELIHOOD: Final = 1e-4
_HAPPENS: Final = 0.08  # of the faults that nobody thought of, those that show a given symptom


def fit_of_symptoms(
    chip: Chip, cloud: Cloud, spreads: Spreads, symptoms: Sequence[Symptom]
) -> Numbers:
    """Return how well simulated boards show the symptoms, 0 to 1, shape (hypotheses, draws)."""
    return _fit_symptoms(
        Same(chip), cloud, spreads, tuple(map(Same, symptoms)), Same(model_trust())
    )


@lru_cache(maxsize=16)  # some 80 kB each; the complaint is the same at every step of a hunt
def _fit_symptoms(
    chip: Same[Chip],
    cloud: Cloud,
    spreads: Spreads,
    same_symptoms: tuple[Same[Symptom], ...],
    trust: Same[ModelTrust],
) -> Numbers:
    """Return the fit of symptoms, which are compared by being the same objects."""
    symptoms = [symptom.value for symptom in same_symptoms]
    shown = cloud.shown.astype(float)  # hypotheses x draws x features
    if not symptoms:
        # Nobody complained: a picture that is visibly off would have been mentioned.
        worst_feature = np.abs(shown - 1).max(axis=2)
        is_visible = _step_softly(worst_feature, _VISIBLE)
        return np.asarray(1 - (1 - trust.value.no_symptom) * is_visible)
    fits = fit_of_pictures(cloud.feature, shown, symptoms)
    for symptom in symptoms:
        if symptom.signs:
            fits = np.maximum(fits, _fit_of_signs(chip.value, cloud, spreads, symptom))
    return fits


def excuse_cleared(cloud: Cloud, symptoms: Sequence[Symptom]) -> Numbers:
    """Return how likely a customer calls the features good that a symptom says are good.

    1 where the board leaves them good, little where it spoils them; shape (hypotheses, draws).
    """
    return _excuse_cleared(cloud, tuple(map(Same, symptoms)))


@lru_cache(maxsize=16)
def _excuse_cleared(cloud: Cloud, same_symptoms: tuple[Same[Symptom], ...]) -> Numbers:
    symptoms = [symptom.value for symptom in same_symptoms]
    good = np.ones(cloud.shown.shape[:2])
    for name in _list_cleared_features(symptoms):
        shown = cloud.shown[..., cloud.feature[name]].astype(np.float64)
        good = good * _is("good", shown)
    return np.asarray(_SAID_GOOD_YET_BAD + (1 - _SAID_GOOD_YET_BAD) * good)


def weigh_picture(fits: Numbers, against: float, is_told: bool) -> Numbers:
    """Return how likely the symptoms are by how well they fit.

    ``against``: the chance of a symptom that the picture does not show.
    """
    return np.asarray(against + (1 - against) * fits) if is_told else fits


def weigh_unthought_fault(symptoms: Sequence[Symptom]) -> float:
    """Return how likely the symptoms are of a fault that nobody thought of."""
    return _HAPPENS ** min(len(symptoms), 1) if symptoms else 0.5


def list_features(symptoms: Sequence[Symptom]) -> tuple[str, ...]:
    """Return the features that symptoms speak of: the bad ones, then the good ones."""
    bad = [name for symptom in symptoms for way in symptom.shows for name in way]
    return tuple(dict.fromkeys([*bad, *_list_cleared_features(symptoms)]))


def _list_cleared_features(symptoms: Sequence[Symptom]) -> tuple[str, ...]:
    """Return the features that some symptom calls good and none calls bad; always in one order,
    since a product's last digit hangs on it."""
    bad = {name for symptom in symptoms for way in symptom.shows for name in way}
    good = [
        name for symptom in symptoms if symptom.shows for name in symptom.good if name not in bad
    ]
    return tuple(dict.fromkeys(good))


def fit_of_pictures(
    feature: Mapping[str, int], shown: Numbers, symptoms: Sequence[Symptom]
) -> Numbers:
    """Return how well pictures fit, 0 to 1; ``shown`` has the features on its last axis.

    ``feature`` gives the place of each there. A symptom may look in several ways: the best counts.
    """
    pictured = [symptom for symptom in symptoms if symptom.shows]
    if not pictured:
        return np.zeros(shown.shape[:-1])
    fits = np.ones(shown.shape[:-1])
    for symptom in pictured:
        way_fits = []
        for way in symptom.shows:
            state_fits = [_is(state, shown[..., feature[name]]) for name, state in way.items()]
            way_fits.append(np.prod(state_fits, axis=0))
        fits = fits * np.max(way_fits, axis=0)
    # "No colour" says as well that the picture is good in black and white.
    for name in _list_cleared_features(symptoms):
        fits = fits * _is("good", shown[..., feature[name]])
    return np.asarray(fits)


def _is(state: str, value: Numbers) -> Numbers:
    """Return how surely a feature is called so."""
    if state == "gone":
        return _step_softly(_GONE_BELOW, value)
    if state == "weak":
        return _step_softly(value, _GONE_BELOW / 2) * _step_softly(_WEAK_BELOW, value)
    if state == "bad":
        return _step_softly(_BAD_BELOW, value)
    if state == "much":
        return _step_softly(value, _MUCH_ABOVE)
    return _step_softly(value, _GOOD_FROM) * _step_softly(_GOOD_TO, value)


def _step_softly(value: Numbers | float, threshold: Numbers | float) -> Numbers:
    """Return a soft step: 1 well above, 0 well below."""
    distance = (np.asarray(value, dtype=float) - threshold) / _SHARPNESS
    return np.asarray(1 / (1 + np.exp(-np.clip(2 * distance, -40, 40))))


def _fit_of_signs(chip: Chip, cloud: Cloud, spreads: Spreads, symptom: Symptom) -> Numbers:
    """Return how well boards show the signs of a chip file's own symptom."""
    fits = np.ones(cloud.dc_v.shape[:2])
    for sign in symptom.signs:
        if sign.at not in cloud.column:
            continue
        if sign.outcome in ("unstable", "distorted"):
            observation = Observation(sign.at, "vpp", seen=(sign.outcome,))
        else:
            observation = Observation(sign.at, sign.quantity, verdict=sign.outcome)
        predicted = weigh(chip, cloud, spreads, observation).predicted
        fits = fits * np.clip(predicted, _LEAST_LIKELIHOOD, 1.0)
    return fits
