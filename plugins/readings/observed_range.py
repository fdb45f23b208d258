"""The observed range of a value: its readings in good sets of many shops, beside the catalogue's.

Each known-good note counts as one reading, however many sets it covers; notes on the same set are
one reading. Outliers are named and left out; the range is the two-sided tolerance interval of the
other readings, which allows for each shop's own way of reading. Below three shops there is none.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Mapping
from statistics import fmean, median
from typing import Any, Final, NamedTuple

from ...schema.chips.data import Pin
from ...schema.chips.expectation import Expectation
from ...schema.chips.limits import Limits, find_limits
from ...schema.note import UNCOMPARED, Note, find_newest
from ...schema.quantities import Quantity, print_value
from ...schema.quantities.grammar import NUMBER, normalise
from .tolerance_interval import compute_mean_bounds, compute_shop_interval

COVERAGE: Final = 0.90
CONFIDENCE: Final = 0.95
# With fewer shops their differences, with fewer readings those of the sets, are hardly known: the
# range would be too wide to be useful.
FEWEST_SHOPS: Final = 3
FEWEST_READINGS: Final = 5
# A reading is an outlier beyond a modified z-score of _OUTLIER_Z_SCORE + _OUTLIER_Z_OF_FEW / n.
# The score is that of Iglewicz & Hoaglin (1993), How to Detect and Handle Outliers, as in
# NIST/SEMATECH e-Handbook 1.3.5.17; their constant 3.5 sets aside good readings of small samples
# too often. This one does so in less than one sample in a hundred, for three shops and more whose
# differences are up to the spread of the sets (tests/benchmarks/bench_observed_ranges.py).
_OUTLIER_Z_SCORE: Final = 5.2
_OUTLIER_Z_OF_FEW: Final = 36.0
_MOST_LISTED: Final = 20  # readings in words; the JSON has all
_FEWEST_TO_JUDGE: Final = 8  # with fewer readings no outlier is recognised
_WIDEST: Final = 2.0  # times the catalogue's limits; a wider range is not well founded
_MAD_TO_SIGMA: Final = 1.4826022185  # 1 / Φ⁻¹(3/4): the scaled MAD of a normal population is σ
_ROUNDING_DIVISOR: Final = math.sqrt(
    12
)  # a last digit of q has the standard uncertainty q/√12 (GUM, F.2.2.1)

_NAMES: Final = {
    "dc": "DC", "vpp": "peak to peak", "frequency": "frequency", "resistance": "to ground",
}  # fmt: skip
_UNITS: Final = {"dc": "V", "vpp": "Vpp", "frequency": "Hz", "resistance": "Ω"}


class Sample(NamedTuple):
    """A reading of good sets: its value, the step of its last digit, and its note."""

    value: float
    step: float
    note: Note

    def document(self) -> dict[str, Any]:
        """Return the value with its shop and note."""
        return {"value": self.value, "shop": self.note.shop, "note": self.note.id}


class ObservedRange(NamedTuple):
    """Statistics of the readings of one quantity in one condition, in ``unit``."""

    quantity: str
    """``dc``, ``vpp``, ``frequency`` or ``resistance``."""
    unit: str
    condition: str
    centre: float
    """Median of all readings."""
    spread: float
    """Scaled median absolute deviation of all readings, an estimate of the standard deviation."""
    low: float | None
    """Lower end of the tolerance interval; None with too few readings."""
    high: float | None
    kept: tuple[Sample, ...]
    outliers: tuple[Sample, ...]
    """Readings excluded from the interval."""

    @property
    def sets(self) -> int:
        """Number of sets that the readings cover."""
        return sum(sample.note.sets for sample in self.kept)

    @property
    def shops(self) -> int:
        """Number of shops that took them; those whose key nobody compared count as one."""
        return len({sample.note.voice for sample in self.kept})

    @property
    def name(self) -> str:
        """Name of the quantity as used at the bench."""
        return _NAMES[self.quantity]

    @property
    def value_words(self) -> str:
        """The centre with its unit."""
        return _format_value(self.centre, self.unit)

    @property
    def range_words(self) -> str:
        """The interval, or the reason why there is none."""
        if self.low is not None and self.high is not None:
            return f"{_format_value(self.low, self.unit)} to {_format_value(self.high, self.unit)}"
        # Each shop reads in its own way; two do not show how far ways of reading differ.
        if self.shops < FEWEST_SHOPS:
            return "one shop only: no range" if self.shops == 1 else "two shops only: no range"
        readings = _format_count(len(self.kept), "reading")
        return f"no range yet: {readings} of good sets, {FEWEST_READINGS} needed"

    @property
    def reading_words(self) -> tuple[str, ...]:
        """Each reading with its shop and date, where there is no interval; of many the first."""
        if self.low is not None:
            return ()
        words = tuple(map(self._describe_sample, self.kept[:_MOST_LISTED]))
        more = len(self.kept) - _MOST_LISTED
        return (*words, f"{more:,} more") if more > 0 else words

    @property
    def provenance_words(self) -> str:
        """Number of readings, sets and shops, and the meaning of the interval."""
        counts = (
            f"{_format_count(len(self.kept), 'reading')}, {_format_count(self.sets, 'set')},"
            f" {_format_count(self.shops, 'shop')}"
        )
        if UNCOMPARED in {sample.note.voice for sample in self.kept}:
            counts += f"; {UNCOMPARED} count as one"
        if self.low is None:
            return counts
        sure = f"{COVERAGE * 100:g} % of good sets with {CONFIDENCE * 100:g} % confidence"
        return f"{counts}; holds {sure}"

    @property
    def outlier_words(self) -> tuple[str, ...]:
        """Each outlier with its shop and date."""
        return tuple(map(self._describe_sample, self.outliers))

    def _describe_sample(self, sample: Sample) -> str:
        return f"{_format_value(sample.value, self.unit)}, {sample.note.shop}, {sample.note.date}"

    def to_limits(self) -> Limits | None:
        """Return the interval as limits to judge readings by; None without one."""
        if self.low is None or self.high is None:
            return None
        behind = (
            f"observed in {_format_count(self.sets, 'set')} of {_format_count(self.shops, 'shop')}"
        )
        return Limits(self.quantity, self.unit, self._middle, self.low, self.high, True, behind)

    def disagrees_with(self, catalogue: Limits) -> bool:
        """Return whether the mean of the shops is surely outside the catalogue's limits."""
        if self.low is None:
            return False
        low, high = compute_mean_bounds(
            group_by_shop(self.kept), _compute_rounding(self.kept), CONFIDENCE
        )
        return high < catalogue.low or low > catalogue.high

    def is_well_founded(self, catalogue: Limits | None) -> bool:
        """Return whether readings are better compared with this range than with the catalogue.

        It is so for every range where the catalogue has no limits; else for one that is at most
        twice as wide as they are.
        """
        if self.low is None or self.high is None:
            return False
        return catalogue is None or self.high - self.low <= _WIDEST * (
            catalogue.high - catalogue.low
        )

    def propose_correction(self, catalogue: Limits) -> str | None:
        """Return the quantity to write in the chip file, where good sets contradict it."""
        if not self.disagrees_with(catalogue):
            return None
        assert self.low is not None  # else nothing disagrees
        assert self.high is not None
        digits = _choose_digits(self.unit)
        low, middle, high = (
            float(f"{value:.{digits}g}") for value in (self.low, self._middle, self.high)
        )
        return str(Quantity(self.unit, middle, low, high))

    @property
    def _middle(self) -> float:
        """Mean of the shops' means, without outliers."""
        return fmean(fmean(group) for group in group_by_shop(self.kept))

    def document(self) -> dict[str, Any]:
        """Return the range as plain data."""
        return {
            "quantity": self.quantity,
            "unit": self.unit,
            "condition": self.condition,
            "centre": self.centre,
            "spread": self.spread,
            "low": self.low,
            "high": self.high,
            "coverage": COVERAGE,
            "confidence": CONFIDENCE,
            "readings": len(self.kept),
            "sets": self.sets,
            "shops": self.shops,
            "without_range": self.range_words if self.low is None else None,
            "values": [sample.document() for sample in self.kept],
            "outliers": [sample.document() for sample in self.outliers],
        }


class RangeComparison(NamedTuple):
    """An observed range beside the catalogue's limits, where there are any."""

    observed: ObservedRange
    catalogue: Limits | None

    @property
    def is_well_founded(self) -> bool:
        """Whether readings are better compared with the range than with the catalogue."""
        return self.observed.is_well_founded(self.catalogue)

    @property
    def correction(self) -> str | None:
        """The quantity to write in the chip file, where good sets contradict it."""
        return self.observed.propose_correction(self.catalogue) if self.catalogue else None

    def document(self) -> dict[str, Any]:
        """Return the range as plain data, with the proposed correction."""
        return {
            **self.observed.document(),
            "well_founded": self.is_well_founded,
            "correction": self.correction,
        }


def compare_with_catalogue(
    pin: Pin, expectation: Expectation, notes: Iterable[Note]
) -> tuple[RangeComparison, ...]:
    """Return each observed range of a pin beside the limits of an expectation.

    ``notes`` are those on the pin; only those in the expectation's condition count.
    """
    limits = find_limits(pin, expectation)
    ranges = compute_observed_ranges(notes, expectation.condition)
    return tuple(RangeComparison(observed, limits.get(name)) for name, observed in ranges.items())


def prefer_observed_limits(
    pin: Pin, expectation: Expectation, notes: Iterable[Note]
) -> tuple[dict[str, Limits], dict[str, str]]:
    """Return limits, well-founded observed ranges first, and remarks on the choice.

    ``notes`` are those on the chip; both results are by name of the quantity. A remark tells that
    good sets contradict the catalogue, or why the readings of good sets are not used.
    """
    catalogue_limits = find_limits(pin, expectation)
    preferred_limits = dict(catalogue_limits)
    remarks: dict[str, str] = {}
    pin_notes = (note for note in notes if note.at == f"pin {pin.number}")
    for quantity, observed in compute_observed_ranges(pin_notes, expectation.condition).items():
        catalogue, observed_limits = catalogue_limits.get(quantity), observed.to_limits()
        if observed_limits is not None and observed.is_well_founded(catalogue):
            preferred_limits[quantity] = observed_limits
        elif catalogue is not None:
            reason = "good sets differ widely" if observed_limits else observed.range_words
            remarks[quantity] = f"{reason}; held against the chip file"
        # A contradiction is worth saying whichever of the two is used.
        if catalogue is not None and observed.disagrees_with(catalogue):
            shops = _format_count(observed.shops, "shop")
            remarks[quantity] = (
                f"good sets of {shops} read {observed.range_words} and contradict the chip file,"
                f" {catalogue.span}"
            )
    return preferred_limits, remarks


def compute_observed_ranges(notes: Iterable[Note], condition: str) -> dict[str, ObservedRange]:
    """Return the observed range of each quantity in ``condition``, from the notes of one place.

    The newest revision of a note counts; a withdrawn one, or one in conflict, does not. Notes on
    the same set are one reading, their mean.
    """
    samples_of: dict[str, list[Sample]] = {}
    for note in select_settled_notes(notes):
        if note.kind == "known-good reading" and note.condition == condition:
            for quantity, sample in _yield_samples(note):
                samples_of.setdefault(quantity, []).append(sample)
    return {
        quantity: summarise_samples(quantity, condition, merge_same_sets(samples_of[quantity]))
        for quantity in _UNITS
        if quantity in samples_of
    }


def select_settled_notes(notes: Iterable[Note]) -> Iterator[Note]:
    """Yield the newest revision of each note, in order, without notes in conflict or withdrawn."""
    revisions: dict[str, list[Note]] = {}
    for note in notes:
        revisions.setdefault(note.id, []).append(note)
    for note_revisions in revisions.values():
        heads = find_newest(note_revisions)
        if len(heads) == 1 and not heads[0].withdrawn:
            yield heads[0]


def merge_same_sets(samples: Iterable[Sample]) -> list[Sample]:
    """Return the samples with those of the same set as one, their mean.

    Two notes of one shop are on the same set if they give it the same name, or give none and are
    of one day and one chassis.
    """
    samples_of_set: dict[tuple[str, ...], list[Sample]] = {}
    for sample in samples:
        note = sample.note
        day_and_chassis = note.date, (note.chassis or "").casefold()
        set_key = (note.set_name,) if note.set_name else day_and_chassis
        samples_of_set.setdefault((note.shop, *set_key), []).append(sample)
    return [
        Sample(
            value=fmean(sample.value for sample in same_set),
            step=max(sample.step for sample in same_set),
            note=same_set[0].note,
        )
        for same_set in samples_of_set.values()
    ]


def group_by_shop(samples: Iterable[Sample]) -> list[list[float]]:
    """Return the values of each shop's samples; shops not compared are one group."""
    values: dict[str, list[float]] = {}
    for sample in samples:
        values.setdefault(sample.note.voice, []).append(sample.value)
    return list(values.values())


def summarise_samples(name: str, condition: str, samples: Iterable[Sample]) -> ObservedRange:
    """Return centre, spread, outliers and tolerance interval of one sample or more."""
    all_samples = tuple(samples)
    centre = median(sample.value for sample in all_samples)
    spread = compute_scaled_mad([sample.value for sample in all_samples])
    # Coarse readings may all be the same figure: they scatter by their rounding at least.
    scale = max(spread, _compute_rounding(all_samples))
    farthest = (_OUTLIER_Z_SCORE + _OUTLIER_Z_OF_FEW / len(all_samples)) * scale
    if len(all_samples) < _FEWEST_TO_JUDGE:
        farthest = math.inf
    kept = tuple(sample for sample in all_samples if abs(sample.value - centre) <= farthest)
    outliers = tuple(sample for sample in all_samples if abs(sample.value - centre) > farthest)
    low, high = _compute_interval(kept)
    # Amplitudes, frequencies and resistances are not negative.
    if low is not None and name != "dc":
        low = max(low, 0.0)
    return ObservedRange(name, _UNITS[name], condition, centre, spread, low, high, kept, outliers)


def compute_scaled_mad(values: list[float]) -> float:
    """Return the median absolute deviation times 1/Φ⁻¹(3/4): σ for a normal population."""
    centre = median(values)
    return _MAD_TO_SIGMA * median(abs(value - centre) for value in values)


def _compute_interval(kept: tuple[Sample, ...]) -> tuple[float, float] | tuple[None, None]:
    """Return the tolerance interval of the readings; None without enough readings and shops."""
    groups = group_by_shop(kept)
    if len(groups) < FEWEST_SHOPS or len(kept) < FEWEST_READINGS:
        return None, None
    return compute_shop_interval(groups, _compute_rounding(kept), COVERAGE, CONFIDENCE)


def _compute_rounding(samples: tuple[Sample, ...]) -> float:
    """Return the standard uncertainty of the most coarsely rounded reading."""
    return max(sample.step for sample in samples) / _ROUNDING_DIVISOR


def _yield_samples(note: Note) -> Iterator[tuple[str, Sample]]:
    """Yield the name of each quantity that a note has a reading of, and the sample."""
    readings = note.readings
    if readings is None:
        return
    figures: Mapping[str, Quantity | None] = {name: getattr(readings, name) for name in _UNITS}
    for name, figure in figures.items():
        if figure is not None:
            yield name, Sample(figure.nominal, _find_last_digit_step(figure), note)


def _find_last_digit_step(figure: Quantity) -> float:
    """Return the value of the last digit written: 0.1 V for ``3.4 V``, 100 Ω for ``4.7 kΩ``."""
    written = re.fullmatch(rf"({NUMBER})[^0-9]*", normalise(figure.text))
    if written is None or not float(written[1]):
        return 0.0  # a letter code, a range or 0 does not show its rounding
    decimals = re.split("[eE]", written[1])[0].partition(".")[2]
    return abs(figure.nominal / float(written[1])) * 10.0 ** -len(decimals)


def _format_count(number: int, noun: str) -> str:
    """Return a number with its noun, plural where needed."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _format_value(value: float, unit: str) -> str:
    """Return a value with its unit, frequencies to six digits."""
    return print_value(value, unit, _choose_digits(unit))


def _choose_digits(unit: str) -> int:
    """Return the significant digits of a figure: a counter shows more than a meter."""
    return 6 if unit == "Hz" else 3
