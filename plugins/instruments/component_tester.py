"""A component tester on a pin to ground, and on the parts at the pin: the figure it shows of each.

With the set off and unplugged only. The figure has current upwards and voltage to the right.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import reduce
from typing import Any, Final, NamedTuple

from ...schema.chip import Chip
from ...schema.chips.application import Part
from ...schema.chips.data import Pin
from ...schema.chips.usual_faults import find_parts_on
from ...schema.instruments import ComponentTester
from ...schema.measuring.tester_figure import (
    LEAST_OHM,
    Bend,
    Drive,
    Figure,
    Load,
    compute_figure,
)
from ...schema.quantities import print_value

SAFETY: Final = (
    "Only with the set off, the plug out and the capacitors discharged: measure before connecting."
)
_CAPACITORS: Final = ("capacitor", "electrolytic capacitor", "trimmer capacitor")
_OPEN_AT_MAINS: Final = ("crystal", "ceramic resonator")  # some picofarads
_DROP_V: Final = 0.6  # of a silicon junction at some milliamperes. Common practice.
_JUNCTION_OHM: Final = 8.0
_ZENER_OHM: Final = 15.0
# From ground into almost every pin of an integrated circuit a junction conducts. Common practice.
_FOOT: Final = Bend(-1, 0.65, 40.0)
_FOOT_NAME: Final = "the chip's junction to ground"
_BELOW_GROUND_V: Final = -0.05  # a pin that works below it has no such junction
_SHORT: Final = Load(siemens=1 / LEAST_OHM)
# A figure this small of the whole screen, or this narrow, looks like a line. Common practice.
_LINE: Final = 0.02
_REVERSE_V: Final = 1.0  # an electrolytic capacitor bears a volt backwards. Common practice.
_POINTS: Final = 72  # of a figure in a document
_DIGITS: Final = 4
_NOTHING: Final = 1e-9  # volts and amperes: rounding of the computation


class LoadFigure(NamedTuple):
    """The figure of one load."""

    of: str
    """Part, or the pin to ground."""
    load: Load
    drive: Drive
    figure: Figure

    @property
    def shape(self) -> str:
        """Shape of the figure: ``slanted line``, ``slanted ellipse``, ``two corners``."""
        width = _share(self.figure.span_v, self.drive.peak_v)
        height = _share(self.figure.span_a, self.drive.peak_a)
        if height < _LINE:
            return "horizontal line, as of an open circuit"
        if width < _LINE:
            return "vertical line, as of a short"
        # The area of an upright ellipse, as a pure reactance draws it, between these ends.
        widest_loop_w = math.pi * self.drive.peak_v * width * self.drive.peak_a * height
        openness = self.figure.area_w / widest_loop_w
        if self.figure.is_bent:
            return self._name_bends(is_open=openness > _LINE)
        if openness < _LINE:
            return "slanted line"
        return "upright ellipse" if openness > 1 - _LINE else "slanted ellipse"

    def _name_bends(self, *, is_open: bool) -> str:
        """Return the corners of a bent figure, each at the voltage where a junction conducts."""
        corners_v = []
        for side, end_v in zip((-1, 1), self.figure.span_v, strict=True):
            drops_v = [bend.from_v for bend in self.load.bends if bend.side == side and bend.from_v]
            # The first bend of a side holds the voltage: those behind it are hardly seen.
            if drops_v and min(drops_v) < abs(end_v):
                corners_v.append(side * min(drops_v))
        if not corners_v:
            return "uneven ellipse" if is_open else "slanted line, steeper on one side"
        count = "one corner" if len(corners_v) == 1 else "two corners"
        places = " and ".join(_print_signed(corner_v, "V") for corner_v in corners_v)
        return f"{count}, at {places}{', opened into a loop' if is_open else ''}"

    @property
    def words(self) -> str:
        """Shape, width and height: ``slanted line; ± 4.24 V across, ± 4.24 mA up``."""
        across, up = _print_span(self.figure.span_v, "V"), _print_span(self.figure.span_a, "A")
        return f"{self.shape}; {across} across, {up} up"

    @property
    def shares(self) -> tuple[list[float], list[float]]:
        """Voltages and currents as shares of those of an open circuit and of a short."""
        volts = [v / self.drive.peak_v for v in self.figure.volts]
        return volts, [a / self.drive.peak_a for a in self.figure.amperes]

    def document(self) -> dict[str, Any]:
        """Return the figure as plain data."""
        step = max(1, len(self.figure.volts) // _POINTS)
        return {
            "of": self.of,
            "shape": self.shape,
            "words": self.words,
            "span_v": [_round(v) for v in self.figure.span_v],
            "span_a": [_round(a) for a in self.figure.span_a],
            "v": [_round(v) for v in self.figure.volts[::step]],
            "a": [_round(a) for a in self.figure.amperes[::step]],
        }


class SetOffView(NamedTuple):
    """What a component tester shows at a pin with the set off."""

    tester: ComponentTester
    drive: Drive
    pin: LoadFigure | None
    """The pin to ground, hot lead on the pin; None where too little is known, or it is barred."""
    counted: tuple[str, ...]
    """What the figure of the pin is computed from."""
    parts: tuple[LoadFigure, ...]
    """Each part at the pin by itself, one lead lifted, the hot lead on the pin's side."""
    remarks: tuple[str, ...]
    """Safety first."""

    def document(self) -> dict[str, Any]:
        """Return the view as plain data."""
        return {
            "tester": self.tester.name,
            "open_peak_v": _round(self.drive.peak_v),
            "short_peak_a": _round(self.drive.peak_a),
            "frequency_hz": self.drive.frequency_hz,
            "remarks": list(self.remarks),
            "pin": None if self.pin is None else self.pin.document(),
            "counted": list(self.counted),
            "parts": [part.document() for part in self.parts],
        }


def view_with_tester(chip: Chip, pin: Pin, tester: ComponentTester) -> SetOffView:
    """Return the figures of a pin to ground and of each part at it."""
    drive = Drive(
        tester.open_voltage.nominal * math.sqrt(2),  # stated as root mean square
        tester.source_resistance.nominal,
        tester.frequency.nominal,
    )
    end = f"pin {pin.number}"
    part_figures = []
    for on_pin in find_parts_on(chip, pin):
        load = make_part_load(on_pin.part, end)
        if load is not None:
            figure = compute_figure(drive, load)
            part_figures.append(LoadFigure(on_pin.part.ref, load, drive, figure))

    # Not even the tester is connected where the chip file forbids probing.
    is_barred = any(hazard.at == end and not hazard.probe for hazard in chip.hazards)
    pin_loads = {} if is_barred else make_pin_loads(chip, pin)
    pin_figure = None
    if pin_loads:
        pin_load = reduce(Load.join, pin_loads.values(), Load())
        figure = compute_figure(drive, pin_load)
        pin_figure = LoadFigure(f"{end} to ground", pin_load, drive, figure)

    remarks = _list_remarks(pin, drive, barred=is_barred, has_figure=pin_figure is not None)
    remarks += _list_reversed(chip, part_figures)
    return SetOffView(
        tester=tester,
        drive=drive,
        pin=pin_figure,
        counted=tuple(pin_loads),
        parts=tuple(part_figures),
        remarks=tuple(remarks),
    )


def make_part_load(part: Part, hot: str) -> Load | None:
    """Return a part with two leads as a load, the hot lead at its end ``hot``.

    None where the figure is not known: no value, more than two leads, transformers, filters.
    """
    has_two_ends = len(part.joins) == len(set(part.joins)) == 2
    if not has_two_ends:
        return None
    # A part lists its leads in the direction in which it conducts: anode first.
    side = 1 if part.joins[0] == hot else -1
    value = part.quantity.nominal if part.quantity is not None else None
    if part.kind in _OPEN_AT_MAINS:
        return Load()
    if part.kind == "connector":
        return _SHORT
    forward = Bend(side, _DROP_V, _JUNCTION_OHM)
    if part.kind == "diode":
        return Load(bends=(forward,))
    if value is None:
        return None
    if part.kind == "zener diode":
        return Load(bends=(forward, Bend(-side, value, _ZENER_OHM)))
    if part.kind == "resistor":
        return Load(siemens=1 / max(value, LEAST_OHM))
    if part.kind == "coil":
        return Load(coils_henry=(value,))
    return Load(farad=value) if part.kind in _CAPACITORS else None


def make_pin_loads(chip: Chip, pin: Pin) -> dict[str, Load]:
    """Return the loads from a pin to ground by their names; empty where nothing is known.

    The stated resistance to ground comprises resistors and coils, which are then left out.
    """
    end = f"pin {pin.number}"
    if pin.role == "ground":
        return {"the ground pin itself": _SHORT}
    grounds = {"ground"} | {f"pin {other.number}" for other in chip.pins if other.role == "ground"}
    stated_load = _make_stated_load(pin)
    loads = {} if stated_load is None else {"the stated resistance to ground": stated_load}
    for on_pin in find_parts_on(chip, pin):
        part = on_pin.part
        leads_to_ground = set(part.joins) - {end} <= grounds
        is_comprised = stated_load is not None and part.kind in ("resistor", "coil")
        if not leads_to_ground or is_comprised:
            continue
        load = make_part_load(part, end)
        if load is not None:
            loads[f"{part.ref} {part.value or ''}".strip()] = load
    # The junction alone is no figure of this pin: nearly every pin has it.
    if loads and _has_foot(pin):
        loads[_FOOT_NAME] = Load(bends=(_FOOT,))
    return loads


def _has_foot(pin: Pin) -> bool:
    """Return whether the pin never works below ground, or beyond the supply."""
    return not any(
        expectation.beyond_supply is not None
        or (expectation.dc is not None and expectation.dc.nominal < _BELOW_GROUND_V)
        for expectation in pin.expectations
    )


def _make_stated_load(pin: Pin) -> Load | None:
    """Return the resistances to ground that the catalogue states, one for each polarity."""
    for expectation in pin.expectations:
        resistance = expectation.resistance
        if resistance is None:
            continue
        # Stated for one polarity only, it holds for both.
        red = resistance.red_on_pin or resistance.black_on_pin
        black = resistance.black_on_pin or resistance.red_on_pin
        if red is None or black is None:
            continue
        positive_ohm, negative_ohm = (max(lead.nominal, LEAST_OHM) for lead in (red, black))
        if positive_ohm == negative_ohm:
            return Load(siemens=1 / positive_ohm)
        return Load(bends=(Bend(1, 0.0, positive_ohm), Bend(-1, 0.0, negative_ohm)))
    return None


def _list_remarks(pin: Pin, drive: Drive, *, barred: bool, has_figure: bool) -> list[str]:
    """Return the sentences to mind: safety, the strain on the chip, the limits of the figure."""
    reach = f"{print_value(drive.peak_v, 'V')} and {print_value(drive.peak_a, 'A')}"
    remarks = [SAFETY]
    if barred:
        return [*remarks, f"Do not connect it to pin {pin.number}, which must not be probed."]
    limit = pin.absolute_maximum
    if limit is not None and limit.nominal < drive.peak_v:
        remarks.append(
            f"It reaches {reach}, but pin {pin.number} must never be above {limit}:"
            " use a tester of lower voltage."
        )
    else:
        remarks.append(f"It reaches {reach}: not for parts that bear less.")
    if has_figure:
        remarks.append(
            "A second corner on the right, by the chip's junction to its supply, is usual; parts"
            " that lead elsewhere add to the figure. Compare with a good set."
        )
    else:
        remarks.append(
            "No resistance to ground is stated and no part leads from here to ground:"
            " compare with a good set."
        )
    return remarks


def _list_reversed(chip: Chip, parts: list[LoadFigure]) -> Iterator[str]:
    """Yield a sentence where an electrolytic capacitor is driven backwards."""
    electrolytics = {
        part.ref for part in chip.application.parts if part.kind == "electrolytic capacitor"
    }
    strained = [
        part.of
        for part in parts
        if part.of in electrolytics and part.figure.span_v[0] < -_REVERSE_V
    ]
    if strained:
        yield f"{' and '.join(strained)}: half of each period drives it backwards; test briefly."


def _share(span: tuple[float, float], full: float) -> float:
    """Return half a span as a share of the full scale."""
    return (span[1] - span[0]) / 2 / full


def _print_span(span: tuple[float, float], unit: str) -> str:
    """Return a span, as one figure with ± where both sides are equal."""
    low, high = span
    if abs(high + low) <= _LINE * (high - low):
        return f"± {print_value((high - low) / 2, unit)}"
    return f"{_print_signed(low, unit)} to {_print_signed(high, unit)}"


def _print_signed(value: float, unit: str) -> str:
    if abs(value) < _NOTHING:
        return print_value(0.0, unit)
    return f"{'−' if value < 0 else '+'}{print_value(abs(value), unit)}"


def _round(value: float) -> float:
    return float(f"{value:.{_DIGITS}g}") if abs(value) > _NOTHING else 0.0
