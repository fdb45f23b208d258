"""Is what was measured right? Each figure against its limits, then the pin as a whole."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any, Final

from ...schema import Chip, Expectation, Pin, print_value
from ...schema.chips.limits import Limits, find_limits, print_figure
from ...schema.instruments import Instruments
from ...schema.note import Note
from ...schema.reading import Reading
from ..instruments.oscillator_loading import sum_capacitance_f
from .conformance import CONFORMS, compute_probability_below, compute_probability_within
from .correction import (
    CorrectedValue,
    correct_dc,
    correct_frequency,
    correct_resistance,
    correct_vpp,
)
from .likely_causes import list_likely_causes
from .observed_range import prefer_observed_limits
from .telltale_ratios import explain_alias, explain_amplitude_ratio, explain_frequency_ratio

AS_EXPECTED: Final = "as expected"
CANNOT_TELL: Final = "cannot tell"
# The worst comes first: it names the pin.
_WORST_FIRST: Final = (
    "missing", "off frequency", "too low", "too high", "distorted", "unstable", CANNOT_TELL,
    AS_EXPECTED,
)  # fmt: skip
_MISSING_SHARE: Final = 0.1  # of the expected amplitude or voltage: what is called missing
_OBSERVATION_VERDICTS: Final = {
    "unstable": ("unstable", "seen to be unstable"),
    "distorted": ("distorted", "seen to be distorted"),
    "missing": ("missing", "nothing to be seen"),
    "clipped": ("distorted", "seen to be clipped: too much signal, or too little supply"),
    "hum": ("distorted", "hum on it: mains ripple from a supply, or an open ground"),
}


@dataclass(frozen=True)
class FigureVerdict:
    """One figure judged."""

    expected: Limits
    value: float
    corrected: CorrectedValue
    probability: float
    """Probability that the true value is within the limits (JCGM 106)."""
    verdict: str
    why: str

    @property
    def read_words(self) -> str:
        """The figure as it was read."""
        return print_figure(self.value, self.expected.unit)

    @property
    def corrected_words(self) -> str:
        """The figure on the pin, with twice its standard uncertainty."""
        spread = print_value(2 * self.corrected.uncertainty, self.expected.unit, 2)
        return f"{print_figure(self.corrected.value, self.expected.unit)} ± {spread}"

    @property
    def expected_words(self) -> str:
        """The limits, and whether they are assumed."""
        limits = self.expected
        span = limits.span
        return f"{span} ({limits.observed or 'assumed'})" if limits.tolerance != "stated" else span

    def document(self) -> dict[str, Any]:
        """As the document of the check holds it."""
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


@dataclass(frozen=True)
class PinVerdict:
    """One pin judged in one condition."""

    chip: Chip
    pin: Pin
    condition: str
    instruments: Instruments
    results: tuple[FigureVerdict, ...]
    verdict: str
    why: tuple[str, ...]
    likely: tuple[str, ...]

    @property
    def is_right(self) -> bool:
        """True when everything that was measured is as expected."""
        return self.verdict == AS_EXPECTED

    def document(self) -> dict[str, Any]:
        """The check as plain data: what the command prints and the page serves."""
        chosen = self.instruments
        return {
            "part": self.chip.part,
            "pin": self.pin.number,
            "symbol": self.pin.symbol,
            "condition": self.condition,
            "instruments": {
                "meter": chosen.meter.name,
                "probe": chosen.probe.name,
                "scope": chosen.scope.name,
            },
            "results": [result.document() for result in self.results],
            "verdict": self.verdict,
            "why": list(self.why),
            "likely": list(self.likely),
        }


def judge_reading(
    chip: Chip,
    pin: Pin,
    expectation: Expectation,
    reading: Reading,
    chosen: Instruments,
    good: Iterable[Note] | None = None,
) -> PinVerdict:
    """Judge a reading against an expectation, taken with these instruments.

    With ``good``, the notes on the chip, what good sets were seen to read goes before the
    expectation's own limits.
    """
    wanting: dict[str, str] = {}
    limits = find_limits(pin, expectation)
    if good is not None:
        limits, wanting = prefer_observed_limits(pin, expectation, good)
    results = tuple(_judge_figures(chip, pin, expectation, reading, chosen, limits))
    verdicts = [(result.verdict, f"{_name_figure(result)}: {result.why}") for result in results]
    verdicts += [_OBSERVATION_VERDICTS[word] for word in reading.seen]
    unknown = [f"{name}: nothing to hold it against" for name in _list_unexpected(reading, limits)]
    unknown += [
        f"{name}: {wanting[name]}" for name in map(_get_quantity, results) if name in wanting
    ]
    ranked = sorted(verdicts, key=lambda found: _WORST_FIRST.index(found[0]))
    verdict = ranked[0][0] if ranked else CANNOT_TELL
    return PinVerdict(
        chip=chip,
        pin=pin,
        condition=expectation.condition,
        instruments=chosen,
        results=results,
        verdict=verdict,
        why=tuple([why for _, why in ranked] + unknown),
        likely=list_likely_causes(pin.role, verdict),
    )


def _get_quantity(result: FigureVerdict) -> str:
    return result.expected.quantity


def _name_figure(result: FigureVerdict) -> str:
    return {"dc": "DC", "vpp": "Amplitude", "frequency": "Frequency"}.get(
        result.expected.quantity, "Resistance to ground"
    )


def _list_unexpected(reading: Reading, limits: dict[str, Limits]) -> list[str]:
    """What was measured and is not known of this pin."""
    read = {
        "dc": reading.dc_v,
        "vpp": reading.vpp_v,
        "frequency": reading.frequency_hz,
        "resistance": reading.resistance_ohm,
    }
    return [name for name, value in read.items() if value is not None and name not in limits]


def _judge_figures(
    chip: Chip,
    pin: Pin,
    expectation: Expectation,
    reading: Reading,
    chosen: Instruments,
    limits: dict[str, Limits],
) -> list[FigureVerdict]:
    found = []
    if reading.dc_v is not None and "dc" in limits:
        found.append(
            _judge_figure(limits["dc"], reading.dc_v, correct_dc(reading.dc_v, pin, chosen))
        )
    if reading.vpp_v is not None and "vpp" in limits:
        beside_f = sum_capacitance_f(chip, f"pin {pin.number}")
        put_right = correct_vpp(reading.vpp_v, pin, expectation, chosen, beside_f)
        result = _judge_figure(limits["vpp"], reading.vpp_v, put_right)
        found.append(
            _append_ratio(result, explain_amplitude_ratio(put_right.value, limits["vpp"].typ))
        )
    if reading.frequency_hz is not None and "frequency" in limits:
        found.append(
            _judge_frequency(limits["frequency"], reading.frequency_hz, expectation, chosen)
        )
    if reading.resistance_ohm is not None and "resistance" in limits:
        ohm = reading.resistance_ohm
        found.append(_judge_figure(limits["resistance"], ohm, correct_resistance(ohm, chosen)))
    return found


def _judge_figure(limits: Limits, value: float, put_right: CorrectedValue) -> FigureVerdict:
    probability = compute_probability_within(
        put_right.value, put_right.uncertainty, limits.low, limits.high
    )
    verdict, why = _choose_verdict(limits, put_right, probability)
    return FigureVerdict(limits, value, put_right, probability, verdict, why)


def _choose_verdict(
    limits: Limits, put_right: CorrectedValue, probability: float
) -> tuple[str, str]:
    value, unit, span = print_figure(put_right.value, limits.unit), limits.unit, limits.span
    if probability >= CONFORMS:
        return AS_EXPECTED, f"{value} is within {span}"
    below = compute_probability_below(limits.low, put_right.value, put_right.uncertainty)
    above = 1 - compute_probability_below(limits.high, put_right.value, put_right.uncertainty)
    # An instrument coarser than the limits leaves little probability between them wherever it
    # points: only one that is sure of the side it is on says "outside".
    if max(below, above) < CONFORMS:
        settle = print_value(_compute_needed_half_width(limits, put_right), unit, 2)
        return CANNOT_TELL, (
            f"{value} ± {print_value(2 * put_right.uncertainty, unit, 2)} cannot be told apart from"
            f" {span}; an instrument good to {settle} would settle it"
        )
    nothing = abs(put_right.value) <= _MISSING_SHARE * limits.typ < limits.low
    if nothing and limits.quantity != "frequency":
        return "missing", f"{value} where {span} should be"
    return ("too low" if below > above else "too high"), f"{value}, not {span}"


def _compute_needed_half_width(limits: Limits, put_right: CorrectedValue) -> float:
    """The half-width that an instrument must have to decide: half the way to the nearer edge."""
    edge = min(abs(put_right.value - limits.low), abs(put_right.value - limits.high))
    return max(edge / 2, put_right.uncertainty / 10)


def _append_ratio(result: FigureVerdict, told: str | None) -> FigureVerdict:
    if told is None or result.verdict in (AS_EXPECTED, CANNOT_TELL):
        return result
    return replace(result, why=f"{result.why}; {told}")


def _judge_frequency(
    limits: Limits, frequency_hz: float, expectation: Expectation, chosen: Instruments
) -> FigureVerdict:
    result = _judge_figure(limits, frequency_hz, correct_frequency(frequency_hz, chosen))
    if result.verdict in (AS_EXPECTED, CANNOT_TELL):
        return result
    carrier_hz = expectation.waveform.carrier_hz if expectation.waveform else limits.typ
    alias = explain_alias(frequency_hz, carrier_hz, chosen.scope)
    if alias is not None:
        why = f"{alias}: an alias; set a faster timebase and read again"
        return replace(result, verdict=CANNOT_TELL, why=why)
    told = explain_frequency_ratio(frequency_hz, limits.typ)
    why = f"{result.why}; {told}" if told else result.why
    return replace(result, verdict="off frequency", why=why)
