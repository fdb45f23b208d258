"""The pin card: expected signals of one pin, and everything needed to measure it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any, ClassVar, Final

from ...schema.chip import Chip
from ...schema.chips.application import Node, Part
from ...schema.chips.data import Pin
from ...schema.chips.expectation import ASSUMED_DC_PERCENT, Expectation
from ...schema.chips.lookup import find_condition, has_picture, rank_expectation
from ...schema.chips.usual_faults import PartOnPin, find_parts_on
from ...schema.note import Note
from ...schema.quantities import Quantity, print_value
from ..drawing.scope_settings import ScopeSettings, choose_scope_settings
from ..notes.note_view import NoteView, group_revisions
from ..notes.past_faults import WaySeen, collect_past_faults, count_ways
from ..readings.observed_range import RangeComparison, compare_with_catalogue
from .cautions import list_cautions, may_probe
from .expected_figures import ExpectedFigure, describe_signal, list_expected_figures
from .one_step import Chain, trace_chains
from .signal_path import SignalPath, trace_signal_path
from .stated_parameters import StatedParameter, cite_source, state_parameters

if TYPE_CHECKING:
    from ...schema.instruments import Instruments
    from ..drawing.scope_trace import Trace
    from ..instruments.instrument_view import InstrumentView

_FIGURES: Final = 6  # significant digits in a document, more than any instrument shows


@dataclass(frozen=True, eq=False)
class ConditionView:
    """Expected signals of the pin in one condition, and the settings to see them."""

    chip: Chip
    place: Pin | Node
    expectation: Expectation
    beside: tuple[RangeComparison, ...] = ()
    """Observed ranges of good sets beside the expectation's values."""

    @property
    def condition(self) -> str:
        """Name of the condition."""
        return self.expectation.condition

    @cached_property
    def settings(self) -> ScopeSettings | None:
        """Settings of the oscilloscope; None without a signal."""
        return choose_scope_settings(self.expectation)

    @cached_property
    def trace(self) -> Trace | None:
        """The trace on its screen; None without a signal."""
        from ..drawing.scope_trace import compute_trace

        return compute_trace(self.expectation, self.settings) if self.settings else None

    @property
    def has_picture(self) -> bool:
        """Whether the picture shows more than a straight line."""
        return has_picture(self.expectation)

    @property
    def means(self) -> str:
        """Instruction for bringing the set into the condition."""
        known = {condition.name: condition.means for condition in self.chip.conditions}
        return known.get(self.condition, "")

    @property
    def dc_value(self) -> str:
        """The DC voltage alone: ``3.4 V``; empty without one."""
        dc = self.expectation.dc
        return "" if dc is None else print_value(dc.nominal, "V")

    @property
    def dc_limits(self) -> str:
        """Limits of the DC voltage: ``3.06 V to 3.74 V, ± 10 % assumed``; empty without one."""
        limits, dc = self.expectation.dc_limits_v(), self.expectation.dc
        if limits is None or dc is None:
            return ""
        how = "stated" if dc.tolerance_stated else f"± {ASSUMED_DC_PERCENT:g} % assumed"
        return f"{print_value(limits[0], 'V')} to {print_value(limits[1], 'V')}, {how}"

    @property
    def vpp(self) -> str:
        """Peak to peak of the waveform; empty without one."""
        waveform = self.expectation.waveform
        return "" if waveform is None else print_value(waveform.vpp_v, "Vpp")

    @property
    def frequency(self) -> str:
        """Frequency of the waveform to five digits, as lines and subcarriers need."""
        waveform = self.expectation.waveform
        return "" if waveform is None else print_value(waveform.frequency_hz, "Hz", 5)

    @cached_property
    def figures(self) -> tuple[ExpectedFigure, ...]:
        """The figures to read, with their limits: observed ones where they are well founded."""
        observed = {
            beside.observed.quantity: limits
            for beside in self.beside
            if beside.is_well_founded and (limits := beside.observed.to_limits())
        }
        return list_expected_figures(self.place, self.expectation, observed)

    @property
    def signal_words(self) -> str:
        """Frequency of the signal: ``at 15.625 kHz``; empty without one."""
        return describe_signal(self.expectation)

    @property
    def resistance_words(self) -> str:
        """Resistance to ground with either lead on the pin, as far as known."""
        resistance = self.expectation.resistance
        if resistance is None:
            return "not given"
        leads = (
            ("red lead on pin", resistance.red_on_pin),
            ("black lead on pin", resistance.black_on_pin),
        )
        return ", ".join(f"{lead} {value}" for lead, value in leads if value is not None)

    @property
    def source_words(self) -> str:
        """Source of the values as a citation."""
        return cite_source(self.chip, self.expectation.source)

    def document(self) -> dict[str, Any]:
        """Return the condition as it appears in the pin's document."""
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
    """One pin of one chip with all that is known about it.

    ``shown`` is the condition of the picture; ``through`` is that condition as the chosen
    instruments show it, when some were chosen.
    """

    chip: Chip
    pin: Pin
    conditions: tuple[ConditionView, ...]
    shown: ConditionView | None
    path: SignalPath
    chains: tuple[Chain, ...]
    """One step along the signal, in the condition shown."""
    parts: tuple[PartOnPin, ...]
    cautions: tuple[str, ...]
    notes: tuple[NoteView, ...]
    """Notes on the pin and on the parts at it, best confirmed first."""
    through: InstrumentView | None = None
    parameters: tuple[StatedParameter, ...] = ()
    """Characteristics of the pin, or of the supply that enters at it."""
    past_faults: Mapping[str, tuple[WaySeen, ...]] = field(default_factory=dict)
    """The ways in which parts were proved to have failed before, by the part's reference."""
    most_listed: ClassVar[int] = 50
    """As many faults, and as many readings of good sets, as a page lists; the JSON has all."""

    @property
    def title(self) -> str:
        """Part, pin and symbol: ``TQZ5752 pin 13 SYNC IN``."""
        return f"{self.chip.part} pin {self.pin.number} {self.pin.symbol}"

    @property
    def sentence(self) -> str:
        """Role and function of the pin in a sentence."""
        role = self.pin.role
        return f"{role[:1].upper()}{role[1:]} pin: {self.pin.function.rstrip('.')}."

    @property
    def remarks(self) -> tuple[NoteView, ...]:
        """Notes other than readings of good sets."""
        return tuple(shown for shown in self.notes if shown.note.kind != "known-good reading")

    @property
    def settled_faults(self) -> tuple[NoteView, ...]:
        """Faults and remedies that nobody disputes."""
        return tuple(shown for shown in self.remarks if _is_settled_fault(shown))

    @property
    def open_remarks(self) -> tuple[NoteView, ...]:
        """Cautions, corrections and remarks, and notes in conflict or with proposals."""
        return tuple(shown for shown in self.remarks if not _is_settled_fault(shown))

    @property
    def good_readings(self) -> tuple[NoteView, ...]:
        """Notes with readings of good sets."""
        return tuple(shown for shown in self.notes if shown.note.kind == "known-good reading")

    @property
    def has_observed(self) -> bool:
        """Whether a reading can be compared with an observed range."""
        ranges = (beside.observed for shown in self.conditions for beside in shown.beside)
        return any(observed.to_limits() for observed in ranges)

    @property
    def condition_names(self) -> tuple[str, ...]:
        """Every state of the set that something is known in, the one with the most to see first."""
        ordered = sorted(self.pin.expectations, key=rank_expectation, reverse=True)
        return tuple(expectation.condition for expectation in ordered)

    @property
    def near_parts(self) -> tuple[Part, ...]:
        """The parts on the pin and those one hop further along the signal."""
        on_pin = [on_pin.part for on_pin in self.parts]
        further = [part for chain in self.chains for part in chain.parts]
        return tuple({part.ref: part for part in (*on_pin, *further)}.values())

    @property
    def may_probe(self) -> bool:
        """False where the chip file forbids probing."""
        return may_probe(self.chip, f"pin {self.pin.number}")

    def list_past_words(self, part: Part) -> tuple[str, ...]:
        """Return how often a part was proved to have failed: ``open in 5 of 7 sets here``."""
        return tuple(seen.words for seen in self.past_faults.get(part.ref, ()))

    def _describe_past(self, part: Part) -> dict[str, Any]:
        return {"past_faults": [seen.document() for seen in self.past_faults.get(part.ref, ())]}

    def document(self) -> dict[str, Any]:
        """Return the card as plain data, as ``--json`` prints it and the page serves it."""
        pin = self.pin
        instrument_view = {} if self.through is None else {"through": self.through.document()}
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
            "parameters": [stated.document() for stated in self.parameters],
            "feeds": [neighbour.document() for neighbour in self.path.feeds],
            "fed_by": [neighbour.document() for neighbour in self.path.fed_by],
            "one_step": [chain.document() for chain in self.chains],
            "parts": [part.document() | self._describe_past(part.part) for part in self.parts],
            "cautions": list(self.cautions),
            "notes": [note.document() for note in self.notes],
            **instrument_view,
        }


def build_pin_card(
    chip: Chip,
    pin: Pin,
    condition: str | None = None,
    chosen: Instruments | None = None,
    notes: Iterable[Note] = (),
    proposals: Iterable[Note] = (),
) -> PinCard:
    """Return the card of a pin, in every condition or in the named one.

    The condition with the most to see comes first. ``notes`` are those on the chip: the card keeps
    those at its ``list_places``, and counts the past faults of all. Raises UnknownCondition.
    """
    notes = list(notes)
    places = list_places(chip, pin)
    own_notes = [note for note in notes if note.at in places]
    # Readings on a part at the pin are none of the pin.
    pin_notes = [note for note in own_notes if note.at == places[0]]
    conditions = order_conditions(chip, pin, pin_notes)
    if condition is not None:
        name = find_condition(chip, condition)
        conditions = [view for view in conditions if view.condition == name]
    shown = conditions[0] if conditions else None
    return PinCard(
        chip=chip,
        pin=pin,
        conditions=tuple(conditions),
        shown=shown,
        path=trace_signal_path(chip, pin),
        chains=trace_chains(chip, pin, shown.condition if shown else None),
        parts=find_parts_on(chip, pin),
        cautions=list_cautions(chip, pin),
        notes=group_revisions(own_notes, proposals),
        through=_view_through(chip, pin, shown, chosen),
        parameters=state_parameters(chip, chip.list_parameters(pin)),
        past_faults=_count_past_faults(chip, notes),
    )


def _view_through(
    chip: Chip, pin: Pin, shown: ConditionView | None, chosen: Instruments | None
) -> InstrumentView | None:
    """Return the condition as the chosen instruments show it; None without either."""
    if chosen is None or shown is None:
        return None
    from ..instruments.instrument_view import view_through_instruments

    return view_through_instruments(chip, pin, shown.expectation, chosen)


def _is_settled_fault(shown: NoteView) -> bool:
    """Return whether a note is a fault and remedy that nobody disputes."""
    is_disputed = shown.in_conflict or shown.proposals
    return shown.note.kind == "fault and remedy" and not is_disputed


def _count_past_faults(chip: Chip, notes: Iterable[Note]) -> dict[str, tuple[WaySeen, ...]]:
    """Return the ways in which each part of the chip's circuit was proved to have failed."""
    faults = collect_past_faults(notes)
    counted = {part.ref: count_ways(faults, part.ref) for part in chip.application.parts}
    return {ref: ways for ref, ways in counted.items() if ways}


def order_conditions(chip: Chip, pin: Pin, notes: Sequence[Note] = ()) -> list[ConditionView]:
    """Return the view of each condition, those with the most to see first."""
    views = (
        ConditionView(chip, pin, expectation, compare_with_catalogue(pin, expectation, notes))
        for expectation in pin.expectations
    )
    return sorted(views, key=lambda view: rank_expectation(view.expectation), reverse=True)


def list_places(chip: Chip, pin: Pin) -> tuple[str, ...]:
    """Return the places whose notes belong on the card: the pin, then the parts joined to it."""
    return (f"pin {pin.number}", *(on_pin.part.ref for on_pin in find_parts_on(chip, pin)))


def _get_nominal(quantity: Quantity | None) -> float | None:
    """Return the nominal value of a quantity, None without one."""
    return None if quantity is None else quantity.nominal


def _round_figure(value: float) -> float:
    """Return a number rounded to the digits of a document."""
    return float(f"{value:.{_FIGURES}g}")


def _describe_dc(expectation: Expectation) -> dict[str, Any] | None:
    """Return the DC voltage and its limits as plain data."""
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
    """Return the figures of the waveform as plain data."""
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
    """Return the settings of the oscilloscope as plain data."""
    return None if settings is None else settings._asdict()


def _describe_trace(trace: Trace | None) -> dict[str, list[float]] | None:
    """Return the trace as columns of plain numbers."""
    if trace is None:
        return None
    columns = {"t_s": trace.t_s, "low_v": trace.low_v, "high_v": trace.high_v}
    return {name: [_round_figure(v) for v in values.tolist()] for name, values in columns.items()}


def _describe_resistance(expectation: Expectation) -> dict[str, float | None] | None:
    """Return the resistances to ground as plain data."""
    resistance = expectation.resistance
    if resistance is None:
        return None
    return {
        "red_on_pin_ohm": _get_nominal(resistance.red_on_pin),
        "black_on_pin_ohm": _get_nominal(resistance.black_on_pin),
    }
