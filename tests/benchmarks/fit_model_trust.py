"""Fit the trust in the board model to the practice boards, by the logarithmic score.

    python tests/benchmarks/fit_model_trust.py HUNTS.jsonl

HUNTS.jsonl: a line for each hunt, ``chip``, ``readings``, ``symptoms`` and ``right``, as
``bench_practice.py`` writes them to PINFOLIO_PRACTICE_HUNTS. Every number of ``model_trust.yaml``
is moved by some factors, one after the other; a move is kept that raises the mean log chance of the
true thing on all boards but one, and on the one left out as well (cross-validated by board).
The score is proper: it is best where the chance said is the chance there is. Source: Good, Rational
decisions, Journal of the Royal Statistical Society B 14 (1952).
"""

from __future__ import annotations

import json
import math
import sys
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

import numpy as np
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.evidence.observations import Evidence, gather_evidence, resolve
from pinfolio.plugins.diagnosis.symptoms.catalogue import Symptom, find_symptom
from pinfolio.plugins.diagnosis.weighing import (
    chip_doubt,
    likelihood,
    pictures,
    posterior,
    spreads,
)
from pinfolio.plugins.diagnosis.weighing.known_board import KnownBoard, load_board
from pinfolio.plugins.diagnosis.weighing.model_trust import ModelTrust, model_trust
from pinfolio.plugins.diagnosis.weighing.priors import compute_prior
from pinfolio.plugins.readings.reading_syntax import read_line
from pinfolio.schema.instruments.ordinary import BUILT_IN

FACTORS = (0.5, 0.7, 1.4, 2.0)
LEAST_CHANCE = 1e-4  # what is not named at all has not been thought of
CONDITION = "colour bars"
Thing = tuple[str, str]


@dataclass(frozen=True)
class Case:
    """The knowledge at one moment of a hunt, and the truth."""

    board: KnownBoard
    told: tuple[Symptom, ...]
    evidence: Evidence
    right: frozenset[Thing]


def read_cases(path: Path) -> Iterator[Case]:
    """Yield every hunt at half of its readings and at its end."""
    chips = {path.stem.upper(): path for path in chip_files()}
    instruments = BUILT_IN.choose()
    for line in path.read_text(encoding="utf-8").splitlines():
        hunt = json.loads(line)
        chip = load_chip(chips[hunt["chip"]])
        board = load_board(chip, CONDITION)
        told = tuple(find_symptom(chip, name) for name in hunt["symptoms"])
        right = frozenset((kind, what.removeprefix("pin ")) for kind, what in hunt["right"])
        readings = hunt["readings"]
        for count in sorted({len(readings) // 2, len(readings)}):
            taken = tuple(resolve(chip, read_line(text)) for text in readings[:count])
            yield Case(board, told, gather_evidence(chip, CONDITION, taken, instruments), right)


def score(trust: ModelTrust, cases: Sequence[Case]) -> dict[str, float]:
    """Return the mean log chance of the true thing, by chip."""
    for module in (chip_doubt, likelihood, pictures, posterior, spreads):
        module.model_trust = lambda: trust  # type: ignore[attr-defined]
    logs = defaultdict(list)
    for case in cases:
        chip, cloud = case.board.chip, case.board.cloud
        prior = compute_prior(chip, cloud)
        by_model = posterior.compute_posterior(
            chip, cloud, spreads.compute_spreads(chip, cloud), prior, case.told, case.evidence
        )
        before = prior * posterior.weigh_findings(cloud, case.evidence)
        found = chip_doubt.add_chip_doubt(by_model, before)
        chance = sum(share for thing, share in found.ranked if thing in case.right)
        logs[chip.part].append(math.log(max(chance, LEAST_CHANCE)))
    return {part: float(np.mean(values)) for part, values in logs.items()}


def move_numbers(trust: ModelTrust) -> Iterator[tuple[str, ModelTrust]]:
    """Yield the trust with each of its numbers moved, and how."""
    for field in fields(ModelTrust):
        value: Any = getattr(trust, field.name)
        for factor in FACTORS:
            if isinstance(value, float):
                yield f"{field.name} x {factor}", replace(trust, **{field.name: value * factor})
            elif isinstance(value, Mapping):
                scaled = {name: number * factor for name, number in value.items()}
                yield f"{field.name} x {factor}", replace(trust, **{field.name: scaled})
            else:
                for inner in fields(value):
                    other = replace(value, **{inner.name: getattr(value, inner.name) * factor})
                    name = f"{field.name}.{inner.name} x {factor}"
                    yield name, replace(trust, **{field.name: other})


def is_better_everywhere(new: Mapping[str, float], old: Mapping[str, float]) -> bool:
    """Return whether a move gains on the mean of the others whichever board is left out, and loses
    next to nothing on the one left out."""
    gains = {part: new[part] - old[part] for part in old}
    left_out = [sum(gains.values()) - gain for gain in gains.values()]
    return min(left_out) > 0 and min(gains.values()) > -0.01


def main(path: Path) -> None:
    """Print the moves that are kept, with the score by board."""
    cases, trust = list(read_cases(path)), model_trust()
    best = score(trust, cases)
    print("as it is", best)
    for name, other in move_numbers(trust):
        found = score(other, cases)
        if is_better_everywhere(found, best):
            print(name, found)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
