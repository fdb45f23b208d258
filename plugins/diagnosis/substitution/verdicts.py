"""Verdicts on candidates in a part's place: fits, works, or does not.

The whole board is simulated with it: voltages, signals, frequencies. A frequency-setting part says
by how much; a filter's corner is told with the resistance that is really across it,
1 / (2 pi R C) or R / (2 pi L). Sources: the board model; the resonator's load (IEC 60122-1).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from ....schema import Chip, Part, print_value
from ....schema.chips.usual_faults import describe_endpoint
from ..board.cloud import Cloud
from ..evidence.observations import find_point_limits
from .candidates import UNITS, Candidate, find_preferred
from .other_values import OtherValues, follow_capacitors, simulate_values

FITS, WORKS, DO_NOT = "fits", "works", "do not"
_ORDER: Final = (FITS, WORKS, DO_NOT)
_SAME: Final = 0.03  # as near as two parts of one value are to each other
_TOLERANCE: Final = {"electrolytic capacitor": 0.3}
_ORDINARY_TOLERANCE: Final = 0.1
_PULL_IN_HZ: Final = 300.0  # of a decoder's crystal, where the chip file gives none
_CERAMIC_PULL: Final = 0.003  # of its frequency, what a ceramic resonator's loop catches
_SHIFT_TOLD: Final = 2e-4  # of a frequency: less is not worth saying
_SHIFT_BAD: Final = 0.03  # of a free-running oscillator, what a hold control puts right
_HARDLY_MOVED_V: Final = 0.02
_LEAST_CORNER_OHM: Final = 10.0  # less across it is a short: a supply, ground
_MOST_CORNER_OHM: Final = 8e5  # more is nothing: there is no corner
_MOST_REASONS: Final = 3
_FREQUENCY_DIGITS: Final = 7
_FIGURES: Final = {"dc": "dc_v", "vpp": "vpp_v", "frequency": "frequency_hz"}


@dataclass(frozen=True)
class Verdict:
    """The verdict on a candidate."""

    candidate: Candidate
    verdict: str
    """``fits``, ``works`` or ``do not``."""
    why: tuple[str, ...]
    preferred: str = ""
    """The preferred value (IEC 60063) nearest to it, where it is none itself."""
    frequencies: tuple[tuple[str, float], ...] = ()
    """Point and frequency that it gives, where it moves one; of a resonator its reference."""

    @property
    def sentence(self) -> str:
        """The reasons in a line: the first three, and how many more there are."""
        more = len(self.why) - _MOST_REASONS
        reasons = "; ".join(self.why[:_MOST_REASONS])
        return f"{reasons}; and {more} more" if more > 0 else reasons

    def document(self) -> dict[str, Any]:
        """Return it as plain data."""
        return {
            "with": self.candidate.text,
            "value": self.candidate.value,
            "verdict": self.verdict,
            "why": list(self.why),
            "nearest_preferred": self.preferred,
            "frequencies_hz": [{"at": at, "hz": hz} for at, hz in self.frequencies],
        }


def judge_candidates(
    chip: Chip, part: Part, candidates: Iterable[Candidate], condition: str, most: int = 8
) -> list[Verdict]:
    """Return the verdicts on the candidates, best first."""
    listed = list(candidates)
    if not listed:
        return []
    simulated = simulate_values(chip, condition, part, [one.value for one in listed])
    verdicts = [_judge(chip, part, one, simulated, row) for row, one in enumerate(listed, 1)]
    marked_value = _read_marked_value(part)

    def rank(verdict: Verdict) -> tuple[int, float, int]:
        # A value twice too large is as far off as one half as large.
        distance = abs(math.log(verdict.candidate.value / marked_value))
        return _ORDER.index(verdict.verdict), distance, len(verdict.candidate.text)

    return sorted(verdicts, key=rank)[:most]


def _judge(chip: Chip, part: Part, one: Candidate, shown: OtherValues, row: int) -> Verdict:
    """Return the verdict on one candidate; ``row`` is its row in the simulation."""
    frequencies = tuple(_list_frequencies(chip, shown, row))
    refusals = [
        *_check_rating(part, one),
        *_find_bad_pulls(chip, part, shown, row),
        *_find_bad_frequencies(chip, shown.cloud, row),
        *_find_bad_readings(chip, shown.cloud, row),
    ]
    remarks = [*_tell_pulls(chip, shown, row), *_tell_corner(chip, part, one, shown)]
    # Two parts together seldom make a preferred value: the nearest may be in the drawer.
    preferred = find_preferred(one.value, part) if " " in one.text else ""
    if refusals:
        return Verdict(one, DO_NOT, (*refusals, *remarks), preferred, frequencies)
    deviation = one.value / _read_marked_value(part) - 1
    if abs(deviation) <= _SAME:
        return Verdict(one, FITS, ("the same value", *remarks), preferred, frequencies)
    tolerance = _TOLERANCE.get(part.kind, _ORDINARY_TOLERANCE)
    if part.tolerance is not None:
        tolerance = part.tolerance.nominal / 100
    size = f"{abs(deviation):.0%} {'more' if deviation > 0 else 'less'} than {part.value}"
    verdict = FITS if abs(deviation) <= tolerance else WORKS
    why = (size, "every point stays within its limits", *remarks)
    return Verdict(one, verdict, why, preferred, frequencies)


def _read_marked_value(part: Part) -> float:
    assert part.quantity is not None  # find_replaceable_part ensures it
    return part.quantity.nominal


def _check_rating(part: Part, one: Candidate) -> Iterator[str]:
    needed = part.rating
    if needed is not None and one.rating_v is not None and one.rating_v < needed.nominal:
        yield f"rated {print_value(one.rating_v, 'V')} where {needed} is needed"


def _find_bad_pulls(chip: Chip, part: Part, shown: OtherValues, row: int) -> Iterator[str]:
    """Yield the resonators that a candidate pulls further than their loop catches."""
    for ref, moved_hz, allowed_hz in _list_pulled(chip, shown, row):
        if abs(moved_hz) > allowed_hz:
            caught = print_value(allowed_hz, "Hz", 2)
            yield f"{_describe_pull(chip, ref, moved_hz)}, more than the {caught} that are caught"


def _tell_pulls(chip: Chip, shown: OtherValues, row: int) -> Iterator[str]:
    for ref, moved_hz, allowed_hz in _list_pulled(chip, shown, row):
        if 1.0 < abs(moved_hz) <= allowed_hz:
            yield f"{_describe_pull(chip, ref, moved_hz)}, which is caught"


def _describe_pull(chip: Chip, ref: str, moved_hz: float) -> str:
    """Return by how much a resonator is pulled, and where it then runs freely."""
    part = next(part for part in chip.application.parts if part.ref == ref)
    runs_at = print_value(_read_marked_value(part) + moved_hz, "Hz", _FREQUENCY_DIGITS)
    return f"pulls {ref} by {print_value(moved_hz, 'Hz', 2)} to {runs_at}"


def _list_pulled(chip: Chip, shown: OtherValues, row: int) -> Iterator[tuple[str, float, float]]:
    """Yield each resonator with the hertz it is pulled by, and those that are caught."""
    parts = {part.ref: part for part in chip.application.parts}
    for ref, pulls in shown.pulls.items():
        nominal_hz = _read_marked_value(parts[ref])
        yield ref, float(pulls[row] - pulls[0]) * nominal_hz, _find_caught_hz(chip, parts[ref])


def _find_caught_hz(chip: Chip, resonator: Part) -> float:
    """Return how far a resonator may be off and is still caught by its loop.

    The lock range of its oscillator, where one is stated, else the pull-in range of the crystal,
    else a usual one.
    """
    joined = follow_capacitors(chip, resonator)
    for block in chip.blocks:
        if block.lock_range is not None and joined & {*block.needs, *block.inputs}:
            return block.lock_range.nominal
    if resonator.kind == "ceramic resonator":
        return _CERAMIC_PULL * _read_marked_value(resonator)
    pull_in = chip.application.pull_in
    return pull_in.nominal if pull_in is not None else _PULL_IN_HZ


def _list_frequencies(chip: Chip, shown: OtherValues, row: int) -> Iterator[tuple[str, float]]:
    """Yield every frequency that a value moves, with its new figure."""
    for ref, moved_hz, _ in _list_pulled(chip, shown, row):
        part = next(part for part in chip.application.parts if part.ref == ref)
        if abs(moved_hz) > 1.0:
            yield ref, _read_marked_value(part) + moved_hz
    for column, point in enumerate(shown.cloud.points):
        good, now = _compute_middle(shown.cloud, "frequency", row, column)
        if good > 0 and now > 0 and abs(now / good - 1) > _SHIFT_TOLD:
            yield point, now


def _find_bad_frequencies(chip: Chip, cloud: Cloud, row: int) -> Iterator[str]:
    """Yield the oscillators that would run off frequency, and the signals that would stop."""
    points_by_shift: dict[float, tuple[str, float]] = {}
    for column, point in enumerate(cloud.points):
        good_hz, now_hz = _compute_middle(cloud, "frequency", row, column)
        if not good_hz > 0:
            continue
        stated = find_point_limits(chip, point, cloud.condition).get("frequency")
        if not now_hz > 0:
            if stated is not None:
                yield f"the signal at {describe_endpoint(chip, point)} would stop"
            continue
        shift = round(now_hz / good_hz - 1, 2)
        # Points behind an oscillator run at its frequency: reported once, at the oscillator.
        is_first = shift not in points_by_shift or _is_oscillator(chip, point)
        if abs(shift) > _SHIFT_BAD and is_first:
            runs_hz = stated.typ * now_hz / good_hz if stated is not None else now_hz
            points_by_shift[shift] = point, runs_hz
    for shift, (point, runs_hz) in points_by_shift.items():
        side, place = "high" if shift > 0 else "low", describe_endpoint(chip, point)
        runs_at = print_value(runs_hz, "Hz", 3)
        yield f"the oscillator at {place} would run {abs(shift):.0%} {side}, at {runs_at}"


def _find_bad_readings(chip: Chip, cloud: Cloud, row: int) -> Iterator[str]:
    """Yield the points whose voltage or signal a value takes out of its limits."""
    for column, point in enumerate(cloud.points):
        limits = find_point_limits(chip, point, cloud.condition)
        for quantity in ("dc", "vpp"):
            if quantity not in limits:
                continue
            good, now = _compute_middle(cloud, quantity, row, column)
            known = limits[quantity]
            ratio = now / good if good else 1.0
            value = known.typ + now - good if quantity == "dc" else known.typ * ratio
            if not known.low <= value <= known.high and abs(now - good) > _HARDLY_MOVED_V:
                what = "DC" if quantity == "dc" else "signal"
                yield f"{what} at {point} would be {print_value(value, known.unit)}"


def _is_oscillator(chip: Chip, at: str) -> bool:
    pin = chip.pin(at.removeprefix("pin "))
    return pin is not None and pin.role == "oscillator"


def _compute_middle(cloud: Cloud, quantity: str, row: int, column: int) -> tuple[float, float]:
    """Return the middle of the good boards, and of those with another value."""
    figures = getattr(cloud, _FIGURES[quantity])[[0, row], :, column].astype(float)
    good, now = np.median(np.nan_to_num(figures), axis=1)
    return float(good), float(now)


def _tell_corner(chip: Chip, part: Part, one: Candidate, shown: OtherValues) -> Iterator[str]:
    """Yield the corner frequency with the resistance across the part; none at a short or open."""
    across_ohm = shown.across_ohm
    unit = UNITS[part.kind]
    if unit == "Ω" or not _LEAST_CORNER_OHM < across_ohm < _MOST_CORNER_OHM:
        return
    if any(_is_oscillator(chip, end) for end in part.joins):
        return  # it times an oscillator, or loads a crystal: no filter
    values: Sequence[float] = (_read_marked_value(part), one.value)
    if unit == "F":
        before_hz, after_hz = (1 / (2 * math.pi * across_ohm * farad) for farad in values)
    else:
        before_hz, after_hz = (across_ohm / (2 * math.pi * henry) for henry in values)
    yield (
        f"corner with {print_value(across_ohm, 'Ω', 2)} across it from"
        f" {print_value(before_hz, 'Hz')} to {print_value(after_hz, 'Hz')}"
    )
