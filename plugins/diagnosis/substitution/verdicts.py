"""Verdicts on candidates in a part's place: fits, works, or does not.

The whole board is simulated with it: voltages, signals, frequencies. A frequency-setting part says
by how much; a filter's corner is told with the resistance that is really across it,
1 / (2 pi R C) or R / (2 pi L). Sources: the board model; the resonator's load (IEC 60122-1).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
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
_LEAST_PULL_HZ: Final = 1.0  # a smaller one is not worth saying
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
    """Return the verdicts on the candidates, at most ``most``, best first; empty without any."""
    listed = list(candidates)
    if not listed:
        return []
    values = [candidate.value for candidate in listed]
    simulated = simulate_values(chip, condition, part, values)
    # Row 0 of the simulation is the board as drawn.
    verdicts = [
        _judge(chip, part, candidate, simulated, row)
        for row, candidate in enumerate(listed, start=1)
    ]
    marked_value = _read_marked_value(part)

    def rank(verdict: Verdict) -> tuple[int, float, int]:
        # A value twice too large is as far off as one half as large.
        distance = abs(math.log(verdict.candidate.value / marked_value))
        return _ORDER.index(verdict.verdict), distance, len(verdict.candidate.text)

    return sorted(verdicts, key=rank)[:most]


def _judge(
    chip: Chip, part: Part, candidate: Candidate, simulated: OtherValues, row: int
) -> Verdict:
    """Return the verdict on one candidate; ``row`` is its row in the simulation."""
    refusals = [
        *_check_rating(part, candidate),
        *_find_bad_pulls(chip, part, simulated, row),
        *_find_bad_frequencies(chip, simulated.cloud, row),
        *_find_bad_readings(chip, simulated.cloud, row),
    ]
    remarks = [
        *_tell_pulls(chip, simulated, row),
        *_describe_corner_shift(chip, part, candidate, simulated),
    ]
    deviation = candidate.value / _read_marked_value(part) - 1
    if refusals:
        verdict, reasons = DO_NOT, refusals
    elif abs(deviation) <= _SAME:
        verdict, reasons = FITS, ["the same value"]
    else:
        is_within_tolerance = abs(deviation) <= _find_tolerance(part)
        verdict = FITS if is_within_tolerance else WORKS
        direction = "more" if deviation > 0 else "less"
        size = f"{abs(deviation):.0%} {direction} than {part.value}"
        reasons = [size, "every point stays within its limits"]
    # Two parts together seldom make a preferred value: the nearest may be in the drawer.
    are_two_parts = " " in candidate.text
    return Verdict(
        candidate,
        verdict,
        why=(*reasons, *remarks),
        preferred=find_preferred(candidate.value, part) if are_two_parts else "",
        frequencies=tuple(_list_frequencies(chip, simulated, row)),
    )


def _find_tolerance(part: Part) -> float:
    """Return the tolerance of a part as a share of its value: its own, else the usual one."""
    if part.tolerance is not None:
        return part.tolerance.nominal / 100
    return _TOLERANCE.get(part.kind, _ORDINARY_TOLERANCE)


def _read_marked_value(part: Part) -> float:
    assert part.quantity is not None  # find_replaceable_part ensures it
    return part.quantity.nominal


def _check_rating(part: Part, candidate: Candidate) -> Iterator[str]:
    """Yield the refusal of a rated voltage below that of the part; none where one is unknown."""
    needed, rating_v = part.rating, candidate.rating_v
    if needed is not None and rating_v is not None and rating_v < needed.nominal:
        yield f"rated {print_value(rating_v, 'V')} where {needed} is needed"


def _find_bad_pulls(chip: Chip, part: Part, simulated: OtherValues, row: int) -> Iterator[str]:
    """Yield the resonators that a candidate pulls further than their loop catches."""
    for ref, moved_hz, allowed_hz in _list_pulled(chip, simulated, row):
        if abs(moved_hz) > allowed_hz:
            caught = print_value(allowed_hz, "Hz", 2)
            yield f"{_describe_pull(chip, ref, moved_hz)}, more than the {caught} that are caught"


def _tell_pulls(chip: Chip, simulated: OtherValues, row: int) -> Iterator[str]:
    """Yield the resonators that a candidate pulls, but no further than their loop catches."""
    for ref, moved_hz, allowed_hz in _list_pulled(chip, simulated, row):
        if _LEAST_PULL_HZ < abs(moved_hz) <= allowed_hz:
            yield f"{_describe_pull(chip, ref, moved_hz)}, which is caught"


def _describe_pull(chip: Chip, ref: str, moved_hz: float) -> str:
    """Return by how much a resonator is pulled, and where it then runs freely."""
    part = next(part for part in chip.application.parts if part.ref == ref)
    runs_at = print_value(_read_marked_value(part) + moved_hz, "Hz", _FREQUENCY_DIGITS)
    return f"pulls {ref} by {print_value(moved_hz, 'Hz', 2)} to {runs_at}"


def _list_pulled(
    chip: Chip, simulated: OtherValues, row: int
) -> Iterator[tuple[str, float, float]]:
    """Yield each resonator, the hertz it is pulled by, and those that its loop catches."""
    parts = {part.ref: part for part in chip.application.parts}
    for ref, pulls in simulated.pulls.items():
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


def _list_frequencies(chip: Chip, simulated: OtherValues, row: int) -> Iterator[tuple[str, float]]:
    """Yield every frequency that a value moves, with its new figure."""
    for ref, moved_hz, _ in _list_pulled(chip, simulated, row):
        part = next(part for part in chip.application.parts if part.ref == ref)
        if abs(moved_hz) > _LEAST_PULL_HZ:
            yield ref, _read_marked_value(part) + moved_hz
    for column, point in enumerate(simulated.cloud.points):
        good_hz, changed_hz = _compute_middle(simulated.cloud, "frequency", row, column)
        has_signal = good_hz > 0 and changed_hz > 0
        if has_signal and abs(changed_hz / good_hz - 1) > _SHIFT_TOLD:
            yield point, changed_hz


def _find_bad_frequencies(chip: Chip, cloud: Cloud, row: int) -> Iterator[str]:
    """Yield the oscillators that would run off frequency, and the signals that would stop."""
    points_by_shift: dict[float, tuple[str, float]] = {}
    for column, point in enumerate(cloud.points):
        good_hz, changed_hz = _compute_middle(cloud, "frequency", row, column)
        if not good_hz > 0:
            continue
        stated = find_point_limits(chip, point, cloud.condition).get("frequency")
        if not changed_hz > 0:
            if stated is not None:
                yield f"the signal at {describe_endpoint(chip, point)} would stop"
            continue
        shift = round(changed_hz / good_hz - 1, 2)
        # Points behind an oscillator run at its frequency: reported once, at the oscillator.
        is_first = shift not in points_by_shift or _is_oscillator(chip, point)
        if abs(shift) > _SHIFT_BAD and is_first:
            # The model only tells the ratio, where the chip file states the frequency.
            runs_hz = changed_hz if stated is None else stated.typ * changed_hz / good_hz
            points_by_shift[shift] = point, runs_hz
    for shift, (point, runs_hz) in points_by_shift.items():
        side, place = "high" if shift > 0 else "low", describe_endpoint(chip, point)
        runs_at = print_value(runs_hz, "Hz", 3)
        yield f"the oscillator at {place} would run {abs(shift):.0%} {side}, at {runs_at}"


def _find_bad_readings(chip: Chip, cloud: Cloud, row: int) -> Iterator[str]:
    """Yield the points whose voltage or signal a value takes out of its limits."""
    for column, point in enumerate(cloud.points):
        limits_of = find_point_limits(chip, point, cloud.condition)
        for quantity, name in (("dc", "DC"), ("vpp", "signal")):
            if quantity not in limits_of:
                continue
            good_v, changed_v = _compute_middle(cloud, quantity, row, column)
            limits = limits_of[quantity]
            # The model only tells the change: a DC moves by volts, a signal by its share.
            if quantity == "dc":
                expected_v = limits.typ + changed_v - good_v
            else:
                expected_v = limits.typ * (changed_v / good_v if good_v else 1.0)
            is_outside = not limits.low <= expected_v <= limits.high
            # A point that the value hardly moves was outside without it.
            if is_outside and abs(changed_v - good_v) > _HARDLY_MOVED_V:
                yield f"{name} at {point} would be {print_value(expected_v, limits.unit)}"


def _is_oscillator(chip: Chip, point: str) -> bool:
    """Return whether a point is a pin of an oscillator."""
    pin = chip.pin(point.removeprefix("pin "))
    return pin is not None and pin.role == "oscillator"


def _compute_middle(cloud: Cloud, quantity: str, row: int, column: int) -> tuple[float, float]:
    """Return the medians at a point: of the good boards, and of those with another value.

    0 where there is no figure, such as the frequency of a point without a signal.
    """
    figures = getattr(cloud, _FIGURES[quantity])[[0, row], :, column].astype(float)
    good, changed = np.median(np.nan_to_num(figures), axis=1)
    return float(good), float(changed)


def _describe_corner_shift(
    chip: Chip, part: Part, candidate: Candidate, simulated: OtherValues
) -> Iterator[str]:
    """Yield from where to where the corner frequency moves; none for a part that makes no corner.

    The corner is that of the part with the resistance across it.
    """
    across_ohm = simulated.across_ohm
    # A short or an open circuit across the part leaves no corner, nor does a resistor alone.
    if part.kind not in _CORNERS or not _LEAST_CORNER_OHM < across_ohm < _MOST_CORNER_OHM:
        return
    # Beside an oscillator it times it, or loads a crystal: it is no filter.
    if any(_is_oscillator(chip, end) for end in part.joins):
        return
    compute_corner_hz = _CORNERS[part.kind]
    before_hz = compute_corner_hz(across_ohm, _read_marked_value(part))
    after_hz = compute_corner_hz(across_ohm, candidate.value)
    yield (
        f"corner with {print_value(across_ohm, 'Ω', 2)} across it from"
        f" {print_value(before_hz, 'Hz')} to {print_value(after_hz, 'Hz')}"
    )


def _compute_rc_corner_hz(ohm: float, farad: float) -> float:
    """Return the corner frequency of a resistance and a capacitance: 1 / (2 pi R C)."""
    return 1 / (2 * math.pi * ohm * farad)


def _compute_rl_corner_hz(ohm: float, henry: float) -> float:
    """Return the corner frequency of a resistance and an inductance: R / (2 pi L)."""
    return ohm / (2 * math.pi * henry)


_CORNER_OF_UNIT: Final = {"F": _compute_rc_corner_hz, "H": _compute_rl_corner_hz}
_CORNERS: Final = {
    kind: _CORNER_OF_UNIT[unit] for kind, unit in UNITS.items() if unit in _CORNER_OF_UNIT
}
"""How to compute the corner frequency with a part of each kind."""
