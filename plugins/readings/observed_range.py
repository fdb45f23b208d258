"""The observed range of a value: its readings in good sets of many shops, beside the catalogue's.

Each known-good note counts as one reading, however many sets it covers. Outliers are named and
left out; the range is the two-sided tolerance interval of the other readings.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from statistics import fmean, median, stdev
from typing import Any, Final

from ...schema.chips.data import Pin
from ...schema.chips.expectation import Expectation
from ...schema.chips.limits import Limits, find_limits
from ...schema.note import Note, find_newest
from ...schema.quantities import Quantity, print_value
from ...schema.quantities.grammar import NUMBER, normalise
from .tolerance_interval import compute_tolerance_factor

COVERAGE: Final = 0.90
CONFIDENCE: Final = 0.95
# With fewer, the factor of the interval is above four (ISO 16269-6: 4.29 for five readings) and
# the range is too wide to be useful; nor can an outlier be recognised.
FEWEST_READINGS: Final = 6
# Modified z-score beyond which a reading is an outlier. Source: Iglewicz & Hoaglin (1993), How to
# Detect and Handle Outliers, as in NIST/SEMATECH e-Handbook 1.3.5.17.
_OUTLIER_Z_SCORE: Final = 3.5
_MAD_TO_SIGMA: Final = 1.4826022185  # 1 / Φ⁻¹(3/4): the scaled MAD of a normal population is σ
_MEDIAN_ERROR: Final = 1.2533141373  # √(π/2): standard error of a median over that of a mean
_SURE_ERRORS: Final = 2.0  # standard errors by which a disagreement must exceed the limits
_ROUNDING_DIVISOR: Final = math.sqrt(
    12
)  # a last digit of q has the standard uncertainty q/√12 (GUM, F.2.2.1)

_NAMES: Final = {
    "dc": "DC", "vpp": "peak to peak", "frequency": "frequency", "resistance": "to ground",
}  # fmt: skip
_UNITS: Final = {"dc": "V", "vpp": "Vpp", "frequency": "Hz", "resistance": "Ω"}


@dataclass(frozen=True)
class Sample:
    """A reading of good sets: its value, the step of its last digit, and its note."""

    value: float
    step: float
    note: Note


@dataclass(frozen=True)
class ObservedRange:
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
        """Number of shops that took them."""
        return len({sample.note.shop for sample in self.kept})

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
        """The interval, or the number of readings that it still needs."""
        if self.low is None or self.high is None:
            return (
                f"no range yet: {_format_count(len(self.kept), 'reading')} of good sets,"
                f" {FEWEST_READINGS} needed"
            )
        return f"{_format_value(self.low, self.unit)} to {_format_value(self.high, self.unit)}"

    @property
    def provenance_words(self) -> str:
        """Number of readings, sets and shops, and the meaning of the interval."""
        counts = (
            f"{_format_count(len(self.kept), 'reading')}, {_format_count(self.sets, 'set')},"
            f" {_format_count(self.shops, 'shop')}"
        )
        if self.low is None:
            return counts
        sure = f"{COVERAGE * 100:g} % of good sets with {CONFIDENCE * 100:g} % confidence"
        return f"{counts}; holds {sure}"

    @property
    def outlier_words(self) -> tuple[str, ...]:
        """Each outlier with its shop and date."""
        return tuple(
            f"{_format_value(sample.value, self.unit)}, {sample.note.shop}, {sample.note.date}"
            for sample in self.outliers
        )

    def to_limits(self) -> Limits | None:
        """Return the interval as limits to judge readings by; None without one."""
        if self.low is None or self.high is None:
            return None
        behind = (
            f"observed in {_format_count(self.sets, 'set')} of {_format_count(self.shops, 'shop')}"
        )
        return Limits(self.quantity, self.unit, self.centre, self.low, self.high, True, behind)

    def disagrees_with(self, catalogue: Limits) -> bool:
        """Return whether the centre is outside the catalogue's limits beyond its uncertainty."""
        if self.low is None:
            return False
        unsure = (
            _SURE_ERRORS * _MEDIAN_ERROR * _compute_deviation(self.kept) / math.sqrt(len(self.kept))
        )
        return self._middle + unsure < catalogue.low or self._middle - unsure > catalogue.high

    def propose_correction(self, catalogue: Limits) -> str | None:
        """Return the quantity to write in the chip file, where good sets contradict it."""
        if not self.disagrees_with(catalogue):
            return None
        assert self.low is not None  # else nothing disagrees
        assert self.high is not None
        figures = 6 if self.unit == "Hz" else 3
        low, typ, high = (
            float(f"{value:.{figures}g}") for value in (self.low, self._middle, self.high)
        )
        return str(Quantity(self.unit, typ, low, high))

    @property
    def _middle(self) -> float:
        """Median of the readings without outliers; within one standard deviation of their mean."""
        return median(sample.value for sample in self.kept)

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
            "outliers": [
                {"value": s.value, "shop": s.note.shop, "note": s.note.id} for s in self.outliers
            ],
        }


@dataclass(frozen=True)
class RangeComparison:
    """An observed range beside the catalogue's limits, where there are any."""

    observed: ObservedRange
    catalogue: Limits | None

    @property
    def correction(self) -> str | None:
        """The quantity to write in the chip file, where good sets contradict it."""
        return self.observed.propose_correction(self.catalogue) if self.catalogue else None

    def document(self) -> dict[str, Any]:
        """Return the range as plain data, with the proposed correction."""
        return {**self.observed.document(), "correction": self.correction}


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
    """Return limits, observed ranges first, and the reason where a quantity has no such range.

    ``notes`` are those on the chip; both results are by name of the quantity.
    """
    limits = find_limits(pin, expectation)
    pin_notes = (note for note in notes if note.at == f"pin {pin.number}")
    ranges = compute_observed_ranges(pin_notes, expectation.condition)
    observed_limits = {
        name: range_ for name, observed in ranges.items() if (range_ := observed.to_limits())
    }
    reasons = {
        name: f"{ranges[name].range_words if name in ranges else 'nothing observed in good sets'};"
        " held against the chip file"
        for name in limits
        if name not in observed_limits
    }
    return limits | observed_limits, reasons


def compute_observed_ranges(notes: Iterable[Note], condition: str) -> dict[str, ObservedRange]:
    """Return the observed range of each quantity in ``condition``, from the notes of one place.

    The newest revision of a note counts; a withdrawn one, or one in conflict, does not.
    """
    samples: dict[str, list[Sample]] = {}
    for note in select_settled_notes(notes):
        if note.kind == "known-good reading" and note.condition == condition:
            for name, sample in _yield_samples(note):
                samples.setdefault(name, []).append(sample)
    return {
        name: summarise_samples(name, condition, samples[name])
        for name in _UNITS
        if name in samples
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


def summarise_samples(name: str, condition: str, samples: Iterable[Sample]) -> ObservedRange:
    """Return centre, spread, outliers and tolerance interval of one sample or more."""
    all_samples = tuple(samples)
    centre = median(sample.value for sample in all_samples)
    spread = compute_scaled_mad([sample.value for sample in all_samples])
    scale = max(spread, _compute_rounding(all_samples))
    outlier_indices = {
        index
        for index, sample in enumerate(all_samples)
        if len(all_samples) >= FEWEST_READINGS
        and abs(sample.value - centre) > _OUTLIER_Z_SCORE * scale
    }
    kept = tuple(sample for index, sample in enumerate(all_samples) if index not in outlier_indices)
    low, high = _compute_interval(kept) if len(kept) >= FEWEST_READINGS else (None, None)
    if low is not None and name != "dc":
        low = max(low, 0.0)  # amplitudes, frequencies and resistances are not negative
    outliers = tuple(all_samples[index] for index in sorted(outlier_indices))
    return ObservedRange(name, _UNITS[name], condition, centre, spread, low, high, kept, outliers)


def compute_scaled_mad(values: list[float]) -> float:
    """Return the median absolute deviation times 1/Φ⁻¹(3/4): σ for a normal population."""
    centre = median(values)
    return _MAD_TO_SIGMA * median(abs(value - centre) for value in values)


def _compute_interval(kept: tuple[Sample, ...]) -> tuple[float, float]:
    """Return the tolerance interval of the readings."""
    reach = compute_tolerance_factor(len(kept), COVERAGE, CONFIDENCE) * _compute_deviation(kept)
    mean = fmean(sample.value for sample in kept)
    return mean - reach, mean + reach


def _compute_deviation(kept: tuple[Sample, ...]) -> float:
    """Return the standard deviation, at least that of the readings' rounding."""
    return max(stdev(sample.value for sample in kept), _compute_rounding(kept))


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
    return print_value(value, unit, 6 if unit == "Hz" else 3)
