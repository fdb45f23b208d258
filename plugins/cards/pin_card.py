"""The pin card: everything that one pin should show, and what to know when measuring it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

from ...schema import Chip, Expectation, Pin, Quantity, print_value
from ...schema.chips.expectation import ASSUMED_DC_PERCENT
from ...schema.chips.lookup import find_condition, has_picture, rank_expectation
from ...schema.chips.usual_faults import PartOnPin, find_parts_on
from ...schema.instruments import Instruments
from ...schema.note import Note
from ..drawing.scope_picture import Trace, compute_trace
from ..drawing.scope_settings import ScopeSettings, choose_scope_settings
from ..instruments.instrument_view import InstrumentView, view_through_instruments
from ..notes.note_view import NoteView, group_revisions
from ..readings.observed_range import RangeComparison, compare_with_catalogue
from .cautions import list_cautions, may_probe
from .signal_path import SignalPath, trace_signal_path

_FIGURES: Final = 6  # of a number in a document: more than any instrument shows


@dataclass(frozen=True, eq=False)
class ConditionView:
    """What the pin shows in one condition, and how to look at it."""

    chip: Chip
    expectation: Expectation
    beside: tuple[RangeComparison, ...] = ()
    """What good sets were seen to read, beside the expectation's values."""

    @property
    def condition(self) -> str:
        """The condition it holds in."""
        return self.expectation.condition

    @cached_property
    def settings(self) -> ScopeSettings | None:
        """How to set the oscilloscope; None where there is nothing to see."""
        return choose_scope_settings(self.expectation)

    @cached_property
    def trace(self) -> Trace | None:
        """What its screen then shows."""
        return compute_trace(self.expectation, self.settings) if self.settings else None

    @property
    def has_picture(self) -> bool:
        """True where the picture shows more than a straight line."""
        return has_picture(self.expectation)

    @property
    def means(self) -> str:
        """How to bring the set into the condition."""
        known = {condition.name: condition.means for condition in self.chip.conditions}
        return known.get(self.condition, "")

    @property
    def dc_value(self) -> str:
        """The DC voltage alone: ``3.4 V``; empty where none is given."""
        dc = self.expectation.dc
        return "" if dc is None else print_value(dc.nominal, "V")

    @property
    def dc_limits(self) -> str:
        """Its limits: ``3.06 V to 3.74 V, ± 10 % assumed``; empty where no DC is given."""
        limits, dc = self.expectation.dc_limits_v(), self.expectation.dc
        if limits is None or dc is None:
            return ""
        how = "stated" if dc.tolerance_stated else f"± {ASSUMED_DC_PERCENT:g} % assumed"
        return f"{print_value(limits[0], 'V')} to {print_value(limits[1], 'V')}, {how}"

    @property
    def vpp(self) -> str:
        """Peak to peak of the waveform; empty where there is none."""
        waveform = self.expectation.waveform
        return "" if waveform is None else print_value(waveform.vpp_v, "Vpp")

    @property
    def frequency(self) -> str:
        """Frequency of the waveform, to five figures since lines and subcarriers need them."""
        waveform = self.expectation.waveform
        return "" if waveform is None else print_value(waveform.frequency_hz, "Hz", 5)

    @property
    def resistance_words(self) -> str:
        """Both readings to ground, or as many as are known."""
        found = self.expectation.resistance
        if found is None:
            return "not given"
        leads = (("red lead on pin", found.red_on_pin), ("black lead on pin", found.black_on_pin))
        return ", ".join(f"{lead} {value}" for lead, value in leads if value is not None)

    @property
    def source_words(self) -> str:
        """The source of the values, as one would cite it."""
        reference = self.expectation.source
        source = next((s for s in self.chip.sources if s.id == reference.id), None)
        if source is None:
            return reference.id
        words = [source.kind, source.title]
        words += [f"revision {source.revision}"] if source.revision else []
        words += [f"page {reference.page}"] if reference.page else []
        words += [f"{reference.sets} sets"] if reference.sets else []
        words += [reference.note] if reference.note else []
        return ", ".join(words)

    def document(self) -> dict[str, Any]:
        """This condition as the pin's document holds it."""
        return {
            "condition": self.condition,
            "dc": _describe_dc(self.expectation),
            "waveform": _describe_waveform(self.expectation),
            "scope": _describe_settings(self.settings),
            "trace": _describe_trace(self.trace),
            "resistance": _describe_resistance(self.expectation),
            "source": self.source_words,
            "note": self.expectation.note,
            "observed": [beside.document() for beside in self.beside],
        }


@dataclass(frozen=True, eq=False)
class PinCard:
    """One pin of one chip, ready to be shown; ``shown`` is the condition that the picture is of.

    ``view_through_instruments`` is what the instruments in hand show of it, when some were chosen.
    """

    chip: Chip
    pin: Pin
    conditions: tuple[ConditionView, ...]
    shown: ConditionView | None
    path: SignalPath
    parts: tuple[PartOnPin, ...]
    cautions: tuple[str, ...]
    notes: tuple[NoteView, ...]
    """What shops noted at the pin and at the parts on it, best confirmed first."""
    through: InstrumentView | None = None

    @property
    def title(self) -> str:
        """Part, pin and symbol: ``TQZ5752 pin 13 SYNC IN``."""
        return f"{self.chip.part} pin {self.pin.number} {self.pin.symbol}"

    @property
    def sentence(self) -> str:
        """What the pin is and does, in a sentence."""
        role = self.pin.role
        return f"{role[:1].upper()}{role[1:]} pin: {self.pin.function.rstrip('.')}."

    @property
    def told(self) -> tuple[NoteView, ...]:
        """The notes that tell something, beside the readings of good sets."""
        return tuple(shown for shown in self.notes if shown.note.kind != "known-good reading")

    @property
    def good_readings(self) -> tuple[NoteView, ...]:
        """The notes of what good sets read."""
        return tuple(shown for shown in self.notes if shown.note.kind == "known-good reading")

    @property
    def has_observed(self) -> bool:
        """True when a reading can be held against what good sets were seen to read."""
        ranges = (beside.observed for shown in self.conditions for beside in shown.beside)
        return any(observed.to_limits() for observed in ranges)

    @property
    def may_probe(self) -> bool:
        """False where nobody should put a probe."""
        return may_probe(self.chip, f"pin {self.pin.number}")

    def document(self) -> dict[str, Any]:
        """The card as plain data: what the command prints with ``--json`` and the page serves."""
        pin = self.pin
        chosen = {} if self.through is None else {"through": self.through.document()}
        return {
            "part": self.chip.part,
            "maker": self.chip.maker,
            "invented": self.chip.invented,
            "pin": pin.number,
            "symbol": pin.symbol,
            "function": pin.function,
            "role": pin.role,
            "absolute_maximum_v": _get_nominal(pin.absolute_maximum),
            "resistance_ohm": _get_nominal(pin.resistance),
            "capacitance_f": _get_nominal(pin.capacitance),
            "probe": self.may_probe,
            "expectations": [shown.document() for shown in self.conditions],
            "feeds": [neighbour.document() for neighbour in self.path.feeds],
            "fed_by": [neighbour.document() for neighbour in self.path.fed_by],
            "parts": [part.document() for part in self.parts],
            "cautions": list(self.cautions),
            "notes": [note.document() for note in self.notes],
            **chosen,
        }


def build_pin_card(
    chip: Chip,
    pin: Pin,
    condition: str | None = None,
    chosen: Instruments | None = None,
    notes: Iterable[Note] = (),
) -> PinCard:
    """The card of ``pin``; with ``condition`` of that condition alone, through what was chosen.

    The condition with the most to see comes first, and the picture is of it. ``notes`` are those
    on the chip; the card takes those at its ``list_places``. Raises UnknownCondition.
    """
    around = list_places(chip, pin)
    kept = [note for note in notes if note.at in around]
    ordered = order_conditions(chip, pin, [note for note in kept if note.at == around[0]])
    if condition is not None:
        name = find_condition(chip, condition)
        ordered = [shown for shown in ordered if shown.condition == name]
    shown = ordered[0] if ordered else None
    return PinCard(
        chip=chip,
        pin=pin,
        conditions=tuple(ordered),
        shown=shown,
        path=trace_signal_path(chip, pin),
        parts=find_parts_on(chip, pin),
        cautions=list_cautions(chip, pin),
        notes=group_revisions(kept),
        through=view_through_instruments(chip, pin, shown.expectation, chosen)
        if chosen and shown
        else None,
    )


def order_conditions(chip: Chip, pin: Pin, notes: Sequence[Note] = ()) -> list[ConditionView]:
    """What the pin shows in each condition, those with most to see first."""
    shown = (
        ConditionView(chip, expectation, compare_with_catalogue(pin, expectation, notes))
        for expectation in pin.expectations
    )
    return sorted(shown, key=lambda each: rank_expectation(each.expectation), reverse=True)


def list_places(chip: Chip, pin: Pin) -> tuple[str, ...]:
    """Where the notes of a card hang: the pin itself, first, then the parts that join it."""
    return (f"pin {pin.number}", *(on_pin.part.ref for on_pin in find_parts_on(chip, pin)))


def _get_nominal(quantity: Quantity | None) -> float | None:
    return None if quantity is None else quantity.nominal


def _round_figure(value: float) -> float:
    return float(f"{value:.{_FIGURES}g}")


def _describe_dc(expectation: Expectation) -> dict[str, Any] | None:
    dc, limits = expectation.dc, expectation.dc_limits_v()
    if dc is None or limits is None:
        return None
    return {
        "typ_v": dc.nominal,
        "min_v": limits[0],
        "max_v": limits[1],
        "tolerance": "stated" if dc.tolerance_stated else "assumed",
    }


def _describe_waveform(expectation: Expectation) -> dict[str, Any] | None:
    waveform = expectation.waveform
    if waveform is None:
        return None
    return {
        "kind": waveform.kind,
        "vpp_v": _round_figure(waveform.vpp_v),
        "frequency_hz": waveform.frequency_hz,
        "mean_v": _round_figure(waveform.mean_v + expectation.offset_v),
        "period_s": waveform.period_s,
        "describes": waveform.describe(),
    }


def _describe_settings(settings: ScopeSettings | None) -> dict[str, Any] | None:
    return None if settings is None else dict(vars(settings))


def _describe_trace(seen: Trace | None) -> dict[str, list[float]] | None:
    if seen is None:
        return None
    columns = {"t_s": seen.t_s, "low_v": seen.low_v, "high_v": seen.high_v}
    return {name: [_round_figure(v) for v in values.tolist()] for name, values in columns.items()}


def _describe_resistance(expectation: Expectation) -> dict[str, float | None] | None:
    found = expectation.resistance
    if found is None:
        return None
    return {
        "red_on_pin_ohm": _get_nominal(found.red_on_pin),
        "black_on_pin_ohm": _get_nominal(found.black_on_pin),
    }
