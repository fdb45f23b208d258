"""The verdict on a reading: each figure against its limits, then the pin as a whole."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import Any, Final, NamedTuple

from ...schema.chip import Chip
from ...schema.chips.data import Pin
from ...schema.chips.expectation import Expectation
from ...schema.chips.limits import Limits, find_limits, print_figure
from ...schema.instruments import Instruments
from ...schema.note import Note
from ...schema.quantities import print_value
from ...schema.reading import Reading
from ..instruments.oscillator_loading import sum_capacitance_f
from .conformance import CONFORMS, compute_probability_below, compute_probability_within
from .correction import (
    CorrectedValue,
    add_rounding,
    correct_captured_dc,
    correct_dc,
    correct_frequency_at,
    correct_resistance,
    correct_vpp,
)
from .likely_causes import list_likely_causes
from .observed_range import prefer_observed_limits
from .telltale_ratios import explain_alias, explain_amplitude_ratio, explain_frequency_ratio

AS_EXPECTED: Final = "as expected"
CANNOT_TELL: Final = "cannot tell"
# The worst verdict on any figure is the verdict on the pin.
WORST_FIRST: Final = (
    "missing", "off frequency", "too low", "too high", "distorted", "unstable", CANNOT_TELL,
    AS_EXPECTED,
)  # fmt: skip
_MISSING_SHARE: Final = 0.1  # of the expected amplitude or voltage; less counts as missing
_EXPANDED: Final = 2  # standard uncertainties in a printed interval, about 95 % (GUM, 6.2)
_HIGHEST_GAIN: Final = 10  # the most by which a better instrument could reduce the uncertainty
_OBSERVATION_VERDICTS: Final = {
    "unstable": ("unstable", "seen to be unstable"),
    "distorted": ("distorted", "seen to be distorted"),
    "missing": ("missing", "nothing to be seen"),
    "clipped": ("distorted", "seen to be clipped: too much signal, or too little supply"),
    "hum": ("distorted", "hum on it: mains ripple from a supply, or an open ground"),
    "noise": ("distorted", "noise on it: the signal before it is weak, or a stage is noisy"),
}
_QUANTITY_NAMES: Final = {
    "dc": "DC",
    "vpp": "Amplitude",
    "frequency": "Frequency",
    "ripple": "Ripple",
    "resistance": "Resistance to ground",
    "everything": "All that was looked at",
}


class FigureVerdict(NamedTuple):
    """The verdict on one figure of a reading."""

    expected: Limits
    value: float
    corrected: CorrectedValue
    probability: float
    """Probability that the true value is within the limits (JCGM 106)."""
    verdict: str
    why: str

    @property
    def reading_words(self) -> str:
        """The figure as read, with its unit."""
        return print_figure(self.value, self.expected.unit)

    @property
    def corrected_words(self) -> str:
        """The figure at the pin, with its expanded uncertainty (k = 2)."""
        spread = print_value(_EXPANDED * self.corrected.uncertainty, self.expected.unit, 2)
        return f"{print_figure(self.corrected.value, self.expected.unit)} ± {spread}"

    @property
    def chance_words(self) -> str:
        """The chance that the figure is right, in percent; empty where it cannot be told."""
        return "" if self.verdict == CANNOT_TELL else f"{self.probability:.0%}"

    @property
    def expected_words(self) -> str:
        """The limits, and whether they are assumed or observed."""
        limits = self.expected
        span = limits.span
        return f"{span} ({limits.observed or 'assumed'})" if limits.tolerance != "stated" else span

    def document(self) -> dict[str, Any]:
        """Return the verdict as it appears in the document of the check."""
        limits = self.expected
        return {
            "quantity": limits.quantity,
            "expected": {
                "typ": limits.typ,
                "min": limits.low,
                "max": limits.high,
                "unit": limits.unit,
                "tolerance": limits.tolerance,
            },
            "reading": {
                "value": self.value,
                "unit": limits.unit,
                "standard_uncertainty": self.corrected.uncertainty,
            },
            "corrected": self.corrected.value,
            "probability_as_expected": self.probability,
            "verdict": self.verdict,
            "why": self.why,
        }


class PinVerdict(NamedTuple):
    """The verdict on one pin in one condition."""

    chip: Chip
    pin: Pin
    condition: str
    instruments: Instruments
    results: tuple[FigureVerdict, ...]
    verdict: str
    why: tuple[str, ...]
    likely: tuple[str, ...]
    named: tuple[str, ...] = ()
    """Defects that a capture shows, by the names that technicians use."""

    @property
    def heading(self) -> str:
        """The verdict, with the defects by name."""
        return f"{self.verdict}: {', '.join(self.named)}" if self.named else self.verdict

    @property
    def is_right(self) -> bool:
        """Whether every figure read is as expected."""
        return self.verdict == AS_EXPECTED

    def document(self) -> dict[str, Any]:
        """Return the verdict as plain data, as the command prints it and the page serves it."""
        instruments = self.instruments
        return {
            "part": self.chip.part,
            "pin": self.pin.number,
            "symbol": self.pin.symbol,
            "condition": self.condition,
            "instruments": {
                "meter": instruments.meter.name,
                "probe": instruments.probe.name,
                "scope": instruments.scope.name,
            },
            "results": [result.document() for result in self.results],
            "verdict": self.verdict,
            "why": list(self.why),
            "likely": list(self.likely),
        }


class CapturedFigures(NamedTuple):
    """Which figures of a reading were measured on a capture, and how surely."""

    has_dc: bool
    """Whether the DC voltage is the mean of the capture, not a meter's."""
    frequency_uncertainty_hz: float
    """Standard uncertainty of its estimator; 0 for a frequency from elsewhere."""


def judge_reading(
    chip: Chip,
    pin: Pin,
    expectation: Expectation,
    reading: Reading,
    chosen: Instruments,
    good: Iterable[Note] | None = None,
    captured: CapturedFigures | None = None,
) -> PinVerdict:
    """Return the verdict on a reading, taken with these instruments, against an expectation.

    ``captured`` says which figures were measured on a capture. With ``good``, the notes on the
    chip, observed ranges replace the expectation's limits where there are any.
    """
    limits, range_remarks = find_limits(pin, expectation), dict[str, str]()
    if good is not None:
        limits, range_remarks = prefer_observed_limits(pin, expectation, good)
    results = tuple(_judge_figures(chip, pin, expectation, reading, chosen, limits, captured))

    # A pin is as bad as the worst that was read or seen there.
    verdicts = _list_verdicts(reading, results, captured)
    worst_first = sorted(verdicts, key=lambda pair: WORST_FIRST.index(pair[0]))
    verdict, _ = worst_first[0] if worst_first else (CANNOT_TELL, "")
    reasons = [reason for _, reason in worst_first]
    reasons += [f"{name}: nothing to hold it against" for name in _list_unexpected(reading, limits)]
    reasons += [
        f"{name}: {range_remarks[name]}"
        for name in map(_get_quantity, results)
        if name in range_remarks
    ]
    return PinVerdict(
        chip=chip,
        pin=pin,
        condition=expectation.condition,
        instruments=chosen,
        results=results,
        verdict=verdict,
        why=tuple(reasons),
        likely=list_likely_causes(pin.role, verdict),
    )


def _list_verdicts(
    reading: Reading, results: tuple[FigureVerdict, ...], captured: CapturedFigures | None
) -> Iterator[tuple[str, str]]:
    """Yield (verdict, reason) of each figure, each word seen and each quantity read as a word."""
    for result in results:
        is_fine = _is_by_the_way(result, results, captured)
        verdict = AS_EXPECTED if is_fine else result.verdict
        yield verdict, f"{_name_figure(result)}: {result.why}"
    for word in reading.seen:
        yield _OBSERVATION_VERDICTS[word]
    for quantity, verdict in reading.words:
        yield verdict, f"{_QUANTITY_NAMES[quantity]}: read as {verdict}, without a figure"


def _is_by_the_way(
    result: FigureVerdict, results: tuple[FigureVerdict, ...], captured: CapturedFigures | None
) -> bool:
    """Return whether a figure leaves open only what a capture cannot tell: the exact DC voltage."""
    is_captured_dc = captured is not None and captured.has_dc and _get_quantity(result) == "dc"
    return is_captured_dc and result.verdict == CANNOT_TELL and len(results) > 1


def _get_quantity(result: FigureVerdict) -> str:
    """Return the name of the figure's quantity."""
    return result.expected.quantity


def _name_figure(result: FigureVerdict) -> str:
    """Return the quantity as a heading."""
    return _QUANTITY_NAMES[result.expected.quantity]


def _list_unexpected(reading: Reading, limits: dict[str, Limits]) -> list[str]:
    """Return the quantities that were read but have no limits."""
    figures = {
        "dc": reading.dc_v,
        "vpp": reading.vpp_v,
        "frequency": reading.frequency_hz,
        "resistance": reading.resistance_ohm,
    }
    return [name for name, value in figures.items() if value is not None and name not in limits]


def _judge_figures(
    chip: Chip,
    pin: Pin,
    expectation: Expectation,
    reading: Reading,
    chosen: Instruments,
    limits: dict[str, Limits],
    captured: CapturedFigures | None,
) -> list[FigureVerdict]:
    """Return the verdict on each figure of the reading that has limits."""
    verdicts = []

    if reading.dc_v is not None and "dc" in limits:
        corrected = correct_dc(reading.dc_v, pin, chosen)
        # The mean of a capture has the oscilloscope's errors, not the meter's.
        if captured is not None and captured.has_dc:
            corrected = correct_captured_dc(reading.dc_v, pin, expectation, chosen)
        half_digit = _find_rounding(reading, "dc", chosen)
        verdicts.append(judge_figure(limits["dc"], reading.dc_v, corrected, half_digit))

    if reading.vpp_v is not None and "vpp" in limits:
        beside_f = sum_capacitance_f(chip, f"pin {pin.number}")
        corrected = correct_vpp(reading.vpp_v, pin, expectation, chosen, beside_f)
        half_digit = _find_rounding(reading, "vpp", chosen)
        result = judge_figure(limits["vpp"], reading.vpp_v, corrected, half_digit)
        ratio_meaning = explain_amplitude_ratio(corrected.value, limits["vpp"].typ)
        verdicts.append(_append_ratio(result, ratio_meaning))

    if reading.frequency_hz is not None and "frequency" in limits:
        read_hz, frequency_limits = reading.frequency_hz, limits["frequency"]
        error_hz = captured.frequency_uncertainty_hz if captured is not None else 0.0
        corrected = correct_frequency_at(chip, pin, read_hz, frequency_limits.typ, chosen, error_hz)
        corrected = add_rounding(corrected, _find_rounding(reading, "frequency", chosen))
        verdicts.append(_judge_frequency(frequency_limits, read_hz, corrected, expectation, chosen))

    if reading.resistance_ohm is not None and "resistance" in limits:
        read_ohm = reading.resistance_ohm
        corrected = correct_resistance(read_ohm, chosen)
        half_digit = _find_rounding(reading, "resistance", chosen)
        verdicts.append(judge_figure(limits["resistance"], read_ohm, corrected, half_digit))

    return verdicts


def _find_rounding(reading: Reading, quantity: str, chosen: Instruments) -> float:
    """Return half of the last digit typed, where a figure was typed with fewer than were shown."""
    return 0.0 if chosen.is_typed_in_full else dict(reading.half_digits).get(quantity, 0.0)


def judge_figure(
    limits: Limits, value: float, corrected: CorrectedValue, half_digit: float = 0.0
) -> FigureVerdict:
    """Return the verdict on a figure, given as read and as corrected.

    ``half_digit`` is half of the last digit it was typed with; 0 for a figure that was not typed.
    """
    rounded = add_rounding(corrected, half_digit)
    probability = compute_probability_within(
        rounded.value, rounded.uncertainty, limits.low, limits.high
    )
    verdict, why = _choose_verdict(limits, rounded, probability)
    # The digits left out add more variance than the instrument has itself: a better one is no help.
    if verdict == CANNOT_TELL and rounded.uncertainty > math.sqrt(2) * corrected.uncertainty:
        without_advice, _, _ = why.rpartition("; ")
        why = f"{without_advice}; give one more digit"
    return FigureVerdict(limits, value, rounded, probability, verdict, why)


def _choose_verdict(
    limits: Limits, corrected: CorrectedValue, probability: float
) -> tuple[str, str]:
    """Return the verdict in a word, and the reason for it."""
    value, unit, span = print_figure(corrected.value, limits.unit), limits.unit, limits.span
    if probability >= CONFORMS:
        return AS_EXPECTED, f"{value} is within {span}"
    below = compute_probability_below(limits.low, corrected.value, corrected.uncertainty)
    above = 1 - compute_probability_below(limits.high, corrected.value, corrected.uncertainty)
    # An instrument coarser than the limits leaves little probability between them for any value:
    # "outside" needs certainty about the side.
    if max(below, above) < CONFORMS:
        needed = print_value(_compute_needed_half_width(limits, corrected), unit, 2)
        expanded = print_value(_EXPANDED * corrected.uncertainty, unit, 2)
        return CANNOT_TELL, (
            f"{value} ± {expanded} cannot be told apart from"
            f" {span}; an instrument good to {needed} would settle it"
        )
    # Next to nothing is missing, where nothing is not within the limits. A low frequency is a
    # signal nevertheless.
    is_missing = abs(corrected.value) <= _MISSING_SHARE * limits.typ < limits.low
    if is_missing and limits.quantity != "frequency":
        return "missing", f"{value} where {span} should be"
    return ("too low" if below > above else "too high"), f"{value}, not {span}"


def _compute_needed_half_width(limits: Limits, corrected: CorrectedValue) -> float:
    """Return the half-width with which an instrument decides: half the way to a limit."""
    edge = min(abs(corrected.value - limits.low), abs(corrected.value - limits.high))
    return max(edge / 2, corrected.uncertainty / _HIGHEST_GAIN)


def _append_ratio(result: FigureVerdict, meaning: str | None) -> FigureVerdict:
    """Return the verdict with the meaning of a telltale ratio added to its reason."""
    if meaning is None or result.verdict in (AS_EXPECTED, CANNOT_TELL):
        return result
    return result._replace(why=f"{result.why}; {meaning}")


def _judge_frequency(
    limits: Limits,
    frequency_hz: float,
    corrected: CorrectedValue,
    expectation: Expectation,
    chosen: Instruments,
) -> FigureVerdict:
    """Return the verdict on a frequency, which may be an alias of the right one."""
    result = judge_figure(limits, frequency_hz, corrected)
    if result.verdict in (AS_EXPECTED, CANNOT_TELL):
        return result
    carrier_hz = expectation.waveform.carrier_hz if expectation.waveform else limits.typ
    alias = explain_alias(frequency_hz, carrier_hz, chosen.scope)
    # A digitising oscilloscope may have shown the right frequency as this one.
    if alias is not None:
        why = f"{alias}: an alias; set a faster timebase and read again"
        return result._replace(verdict=CANNOT_TELL, why=why)
    meaning = explain_frequency_ratio(frequency_hz, limits.typ)
    why = f"{result.why}; {meaning}" if meaning else result.why
    return result._replace(verdict="off frequency", why=why)
