"""Rules on supplies, DC voltages and peaks.

Voltages are judged with a little slack: data sheets round typical values, and clamp diodes let a
peak slightly past the supply.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

from ..chips.data import ChipData, Pin
from ..chips.expectation import Expectation
from ..chips.places import Place, walk_expectations, walk_pin_expectations
from ..quantities import Quantity, print_value
from .example import expect, expect_pulses, expect_sine, write_pin
from .rule import Problem, chip_rule

# Slack beyond a rail: a fixed voltage plus a share of the supply range.
_SLACK_V: Final = 0.1
_SLACK_SHARE: Final = 0.02
# Slack of a waveform's mean against the DC: a share of its peak-to-peak.
_MEAN_SLACK_SHARE: Final = 0.1

Span = tuple[float, float]
"""Lowest and highest volts."""


@chip_rule(
    "supply-and-ground",
    title="Supplies enter at supply pins, each supply pin has a supply, and a ground pin exists.",
    why="Supply and ground are measured first, so it must be known which pins they are.",
    fix="Correct the role of the pin, or the pins under the supply.",
    bad=write_pin(2, expect("dc: 0 V"), role="decoupling"),
    good=write_pin(2, expect("dc: 0 V"), role="ground"),
)
def check_supply_and_ground(chip: ChipData) -> Iterator[Problem]:
    """Yield each supply without a supply pin and supply pin without a supply; a missing ground."""
    roles = {pin.number: pin.role for pin in chip.pins}
    fed_pins: set[int] = set()
    for index, supply in enumerate(chip.supplies):
        if not supply.pins:
            problem = f"supply {supply.name} names no pins"
            yield Problem(("supplies", index, "pins"), problem, "list the pins it enters at")
        for place, number in enumerate(supply.pins):
            fed_pins.add(number)
            at = ("supplies", index, "pins", place)
            if number not in roles:
                problem = f"supply {supply.name} names pin {number}, but the chip has no such pin"
                yield Problem(at, problem, "name a pin with role supply")
            elif roles[number] != "supply":
                problem = f"supply {supply.name} names pin {number}, which has role {roles[number]}"
                index_of_pin = [pin.number for pin in chip.pins].index(number)
                # Where symbol and supply have one name, the pin is right and its role the slip.
                if chip.pins[index_of_pin].symbol.upper() == supply.name.upper():
                    place_of_role = ("pins", index_of_pin, "role")
                    yield Problem(place_of_role, problem, "give this pin role supply", "supply")
                else:
                    yield Problem(at, problem, "name a pin with role supply")
    for index, pin in enumerate(chip.pins):
        if pin.role == "supply" and pin.number not in fed_pins:
            problem = f"supply pin {pin.number} belongs to no supply"
            yield Problem(("pins", index, "role"), problem, "list it under supplies")
    lowest_v, highest_v = chip.supply_range_v
    # A chip between a positive and a negative supply can do without a ground pin.
    has_split_supply = lowest_v < 0 < highest_v
    if "ground" not in roles.values() and not has_split_supply:
        yield Problem(("pins",), "no pin has role ground", "give one pin or more this role")


@chip_rule(
    "dc-possible",
    title="""DC lies between ground and the highest supply, and within the absolute maximum of
    the pin.""",
    why="DC beyond the supplies or the absolute maximum is a slip, or needs its reason stated.",
    fix="""Correct the voltage, or give the reason under `beyond_supply`; nothing excuses it from
    the absolute maximum.""",
    bad=write_pin(4, expect("dc: 12 V")),
    good=write_pin(4, expect("dc: 12 V, beyond_supply: The load is tied to the 12 V rail.")),
)
def check_dc_possible(chip: ChipData) -> Iterator[Problem]:
    """Yield each DC voltage that supplies or the absolute maximum do not allow."""
    for place, pin, expectation in walk_pin_expectations(chip):
        if expectation.dc is not None:
            dc_v = expectation.dc.nominal
            span_v = (dc_v, dc_v)
            yield from _find_excess((*place, "dc"), chip, pin, expectation, span_v, "DC")


@chip_rule(
    "waveform-possible",
    title="The waveform, placed on its DC, keeps to the same limits as DC.",
    why="A peak beyond the supplies or the absolute maximum is a slip, or needs its reason stated.",
    fix="""Correct the peak to peak, the levels or the DC, or give the reason under
    `beyond_supply`.""",
    bad=write_pin(4, expect_sine("4 V", "12 Vpp")),
    good=write_pin(4, expect_sine("4 V", "2 Vpp")),
)
def check_waveform_possible(chip: ChipData) -> Iterator[Problem]:
    """Yield each waveform with a peak that supplies or the absolute maximum do not allow."""
    bottom_v, _ = chip.supply_range_v
    for place, pin, expectation in walk_pin_expectations(chip):
        if expectation.waveform is None:
            continue
        figures, offset_v = expectation.waveform.figures, expectation.offset_v
        span_v = (figures.low_v + offset_v, figures.high_v + offset_v)
        # A floating waveform without DC may be anywhere: it only has to fit in between.
        if expectation.waveform.floats and expectation.dc is None:
            span_v = (bottom_v, bottom_v + figures.vpp_v)
        yield from _find_excess((*place, "waveform"), chip, pin, expectation, span_v, "a peak")


@chip_rule(
    "waveform-on-dc",
    title="""A waveform in volts to ground has the mean that is stated as DC; a bus may state the
    level at which it rests.""",
    why="A meter reads the mean of a signal; if the two disagree, one of them is wrong.",
    fix="Correct the DC, or the levels of the waveform.",
    bad=write_pin(4, expect_pulses("6 V", "low: 0 V, high: 4 V, duty: 50 %")),
    good=write_pin(4, expect_pulses("2 V", "low: 0 V, high: 4 V, duty: 50 %")),
)
def check_waveform_on_dc(chip: ChipData) -> Iterator[Problem]:
    """Yield each DC voltage that is not the mean of its waveform, with the mean to write."""
    for place, expectation in walk_expectations(chip):
        waveform, limits_v = expectation.waveform, expectation.dc_limits_v()
        if waveform is None or waveform.floats or limits_v is None:
            continue
        mean_v = waveform.figures.mean_v
        slack_v = max(_MEAN_SLACK_SHARE * waveform.figures.vpp_v, _SLACK_V)
        readings_v = [v for v in (mean_v, waveform.rest_v) if v is not None]
        if not any(limits_v[0] - slack_v <= v <= limits_v[1] + slack_v for v in readings_v):
            mean = print_value(mean_v, "V")
            problem = f"DC {expectation.dc} is not the mean of the waveform, {mean}"
            yield Problem((*place, "dc"), problem, "correct the DC or the levels", mean)


@chip_rule(
    "output-limits-hold",
    title="DC and waveform of an output lie within the limits that are stated for it.",
    why="""Fault finding takes no output beyond its limits: one that a good set exceeds would be
    judged wrong.""",
    fix="Correct the limits, or the DC or the peak to peak that exceeds them.",
    bad=write_pin(4, expect("dc: 4 V"), output_limits="{low: 5 V, high: 7.2 V}"),
    good=write_pin(4, expect("dc: 4 V"), output_limits="{low: 0.2 V, high: 7.2 V}"),
)
def check_output_limits(chip: ChipData) -> Iterator[Problem]:
    """Yield each DC voltage and each peak beyond the stated limits of its output."""
    for place, pin, expectation in walk_pin_expectations(chip):
        limits, waveform = pin.output_limits, expectation.waveform
        if limits is None:
            continue
        low_v = limits.low.nominal if limits.low is not None else -math.inf
        high_v = limits.high.nominal if limits.high is not None else math.inf
        spans_v: dict[str, Span] = {}
        if expectation.dc is not None:
            spans_v["dc"] = (expectation.dc.nominal, expectation.dc.nominal)
        if waveform is not None and (expectation.dc is not None or not waveform.floats):
            offset_v, figures = expectation.offset_v, waveform.figures
            spans_v["waveform"] = (figures.low_v + offset_v, figures.high_v + offset_v)
        for field, span_v in spans_v.items():
            excess_v = _end_beyond(span_v, (low_v - _SLACK_V, high_v + _SLACK_V))
            if excess_v is not None:
                noun = "DC" if field == "dc" else "a peak"
                problem = f"{noun} of {print_value(excess_v, 'V')} is beyond the output limits"
                remedy = "correct the limits or the value"
                yield Problem((*place, field), problem, remedy)


def _find_excess(
    at: Place, chip: ChipData, pin: Pin, expectation: Expectation, span_v: Span, noun: str
) -> Iterator[Problem]:
    """Yield a problem for each limit, of the supplies and of the pin, that a span exceeds."""
    bottom_v, top_v = chip.supply_range_v
    slack_v = _SLACK_V + _SLACK_SHARE * (top_v - bottom_v)
    excess_v = _end_beyond(span_v, (bottom_v - slack_v, top_v + slack_v))
    if excess_v is not None and expectation.beyond_supply is None:
        supply = f"{print_value(bottom_v, 'V')} to the supply's {print_value(top_v, 'V')}"
        problem = f"{noun} of {print_value(excess_v, 'V')} is outside {supply}"
        yield Problem(at, problem, "correct it, or give the reason under 'beyond_supply'")
    if pin.absolute_maximum is None:
        return
    excess_v = _end_beyond(span_v, _find_absolute_limits_v(pin.absolute_maximum))
    if excess_v is not None:
        maximum = f"the absolute maximum of {pin.absolute_maximum}"
        problem = f"{noun} of {print_value(excess_v, 'V')} is beyond {maximum}"
        yield Problem(at, problem, "correct the voltage or the rating")


def _end_beyond(span_v: Span, limits_v: Span) -> float | None:
    """Return the end of the span that lies beyond the limits, or None."""
    if span_v[1] > limits_v[1]:
        return span_v[1]
    return span_v[0] if span_v[0] < limits_v[0] else None


def _find_absolute_limits_v(maximum: Quantity) -> Span:
    """Return the limits of a rating: ``9 V`` upwards, ``-16 V`` downwards, a range both ways."""
    low_v, high_v = maximum.limits(0)
    return low_v if low_v < 0 else -math.inf, high_v if high_v > 0 else math.inf
