"""The suspects of a job, each with its chance, the reasons, its proof and its repair."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from ....schema import Chip, print_value
from ....schema.chips.usual_faults import describe_endpoint
from ..board.cloud import Hypothesis
from ..evidence.observations import Evidence, Observation
from ..weighing.known_board import KnownBoard
from ..weighing.posterior import CHIP, Posterior, Thing
from .predicted_readings import list_changes
from .remedy import Remedy, choose_remedy
from .wording import QUANTITY, describe_suspect, describe_thing

_LEAST: Final = 0.005  # nobody goes after less than half a percent
_SHOWN: Final = 8
_UNITS: Final = {"dc": "V", "vpp": "Vpp", "frequency": "Hz", "ripple": "Vpp"}
_WIDE, _LEAST_WIDTH = 1.02, 1e-6  # ends that are farther apart are both said
_BETWEEN: Final = (0.1, 0.9)  # of the boards that are still likely, those told of
_SIGNS: Final = 3  # of a suspect, as many as one remembers
_DIGITS: Final = 3
_HZ_DIGITS: Final = 6  # a counter's, where the last ones tell


@dataclass(frozen=True)
class Suspect:
    """One thing that may be at fault, with the likeliest way that it failed."""

    thing: Thing
    hypothesis: Hypothesis
    probability: float
    ways: tuple[tuple[Hypothesis, float], ...]
    """Every way it may have failed, with the chances, likeliest first."""
    because: tuple[str, ...]
    remedy: Remedy
    said: str
    """The suspect in words."""
    would_read: tuple[str, ...]
    """What it moves most, in words."""

    def document(self, chip: Chip) -> dict[str, Any]:
        """Return the suspect as the job's document holds it."""
        kind, what = self.thing
        return {
            "what": name_suspect(self.hypothesis),
            "said": self.said,
            "thing": describe_thing(chip, kind, what),
            "kind": self.hypothesis.kind,
            "failure": self.hypothesis.failure,
            "probability": self.probability,
            "ways": [
                {"failure": h.failure, "said": describe_suspect(chip, h), "probability": share}
                for h, share in self.ways[:4]
            ],
            "because": list(self.because),
            "prove": self.remedy.prove,
            "remedy": self.remedy.fit,
            "check": list(self.remedy.check),
            "would_read": list(self.would_read),
        }


def name_suspect(hypothesis: Hypothesis) -> str:
    """Return a suspect's name in a document; for a joint ``pin 9``."""
    if hypothesis.kind == "none":
        return "none of these"
    if hypothesis.kind == "joint":
        return hypothesis.what if hypothesis.what.startswith("pin ") else f"pin {hypothesis.what}"
    return hypothesis.what


def list_suspects(
    board: KnownBoard, posterior: Posterior, evidence: Evidence
) -> tuple[Suspect, ...]:
    """Return the suspects worth naming, likeliest first; the first one in any case."""
    likely = [pair for pair in posterior.ranked if pair[1] >= _LEAST][:_SHOWN]
    return tuple(
        _make_suspect(board, posterior, evidence, thing, chance)
        for thing, chance in likely or posterior.ranked[:1]
    )


def _make_suspect(
    board: KnownBoard, posterior: Posterior, evidence: Evidence, thing: Thing, chance: float
) -> Suspect:
    """Return a thing as a suspect, with the readings for it, its remedy and its signs."""
    chip, rows = board.chip, posterior.rows_of[thing]
    ways = posterior.list_ways(thing)
    likeliest_way = ways[0][0]
    likeliest_row = max(rows, key=lambda row: float(posterior.chances[row]))
    description = describe_suspect(chip, likeliest_way)
    if thing == CHIP:
        description = f"the chip: {description}"
    changes = list_changes(board, likeliest_row, posterior.weights)
    signs = tuple(change.describe(chip) for change in changes[:_SIGNS])
    return Suspect(
        thing,
        likeliest_way,
        chance,
        tuple((way, share) for way, share in ways if share >= _LEAST * chance),
        tuple(_explain(board, posterior, evidence.observations, rows)),
        choose_remedy(chip, likeliest_way),
        description,
        # With nothing at fault there is nothing that moves.
        signs if likeliest_way.kind != "none" else (),
    )


def _explain(
    board: KnownBoard, posterior: Posterior, observations: Sequence[Observation], rows: list[int]
) -> Iterator[str]:
    """Yield each reading in words, beside its range with the suspect's fault."""
    weights = posterior.weights[rows].ravel()
    if not weights.sum():
        return
    for observation in observations:
        column = board.cloud.column.get(observation.point)
        if column is None or observation.value is None:
            continue
        figures = _select_figures(board, observation.quantity)  # hypotheses x draws x points
        values = figures[rows, :, column].astype(float).ravel()
        is_known = np.isfinite(values)
        if not is_known.any() or not weights[is_known].sum():
            continue
        low, high = _find_range(values[is_known], weights[is_known])
        unit = _UNITS[observation.quantity]
        place = describe_endpoint(board.chip, observation.point)
        digits = _HZ_DIGITS if unit == "Hz" else _DIGITS
        reading = print_value(observation.value, unit, digits)
        span = _print_span(low, high, unit)
        yield f"{place}, {QUANTITY[observation.quantity]}: read {reading}; with this fault {span}"


def _print_span(low: float, high: float, unit: str) -> str:
    """Return a range in words; one that is narrow as a single figure."""
    if high <= low * _WIDE + _LEAST_WIDTH:
        return print_value(low, unit, _HZ_DIGITS if unit == "Hz" else _DIGITS)
    return f"{print_value(low, unit, _DIGITS)} to {print_value(high, unit, _DIGITS)}"


def _select_figures(board: KnownBoard, quantity: str) -> Any:
    cloud = board.cloud
    return {
        "dc": cloud.dc_v,
        "vpp": cloud.vpp_v,
        "frequency": cloud.frequency_hz,
        "ripple": cloud.ripple_vpp,
    }[quantity]


def _find_range(values: Any, weights: Any) -> tuple[float, float]:
    """Return the values between which most of the likely boards lie."""
    order = np.argsort(values)
    share = np.cumsum(weights[order]) / weights.sum()
    low, high = (min(int(np.searchsorted(share, edge)), len(order) - 1) for edge in _BETWEEN)
    return float(values[order[low]]), float(values[order[high]])
