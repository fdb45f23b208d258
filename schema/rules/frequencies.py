"""Advice on frequencies that no set of the chip's systems has."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Final

from ..chips.data import ChipData
from ..chips.places import Place, walk_pin_expectations
from ..quantities import Quantity, print_value
from ..systems import SCANNING
from .example import write_pin
from .rule import Problem, advice

_NEAR_SHARE: Final = 0.01  # frequencies nearer than this are meant to be the same
_LINE_WORDS: Final = re.compile(r"\b(?:line|horizontal)\b", re.IGNORECASE)
_FIELD_WORDS: Final = re.compile(r"\b(?:field|vertical|frame)\b", re.IGNORECASE)
_SLIPS: Final = (1e3, 1e-3)  # a wrong prefix
# A line oscillator runs at a multiple of the line frequency, for which resonators are made up to
# this one; nearer to the subcarrier, other oscillators begin. Common practice.
_MOST_LINE_MULTIPLE: Final = 48


@advice(
    "frequency-likely",
    title="""A waveform's frequency is not a thousandfold of a usual one, is none of the field at a
    line pin, and at an oscillator below a megahertz is a multiple of the line frequency.""",
    why="A slip of the prefix, or of the column, is copied to every oscilloscope setting.",
    fix="Compare the value with the data sheet.",
    bad=write_pin(
        4,
        "{condition: colour bars, dc: 4 V, source: {id: sheet, page: 2}, waveform: {kind: sine,"
        " frequency: 15.625 MHz, vpp: 1 Vpp}}",
    ),
    good=write_pin(
        4,
        "{condition: colour bars, dc: 4 V, source: {id: sheet, page: 2}, waveform: {kind: sine,"
        " frequency: 15.625 kHz, vpp: 1 Vpp}}",
    ),
)
def find_unlikely_frequencies(chip: ChipData) -> Iterator[Problem]:
    """Yield each frequency of a pin's waveform that is probably a slip."""
    if not chip.systems:
        return
    for place, frequency, words, noun, is_oscillator in _list_frequencies(chip):
        if problem := _compare_with_usual(chip, frequency, words, is_oscillator):
            yield Problem(place, f"{noun} has {problem[0]}", *problem[1:])


def _list_frequencies(chip: ChipData) -> Iterator[tuple[Place, Quantity, str, str, bool]]:
    """Yield the frequencies of waveforms and parameters, each with its place and description.

    After the frequency come the words that describe it, the name of the culprit for messages, and
    whether it is that of an oscillator.
    """
    for at, pin, expectation in walk_pin_expectations(chip):
        if isinstance(frequency := getattr(expectation.waveform, "frequency", None), Quantity):
            words, is_oscillator = f"{pin.symbol} {pin.function}", pin.role == "oscillator"
            place = (*at, "waveform", "frequency")
            yield place, frequency, words, f"pin {pin.number}", is_oscillator
    for index, node in enumerate(chip.application.nodes):
        for number, expectation in enumerate(node.expectations):
            if isinstance(frequency := getattr(expectation.waveform, "frequency", None), Quantity):
                at = ("application", "nodes", index, "expectations", number)
                yield (*at, "waveform", "frequency"), frequency, node.name, node.id, False
    for index, parameter in enumerate(chip.parameters):
        # A range or a bandwidth is no rate of anything.
        if parameter.value.unit == "Hz" and re.search(r"\bfrequency\b", parameter.name, re.I):
            at, name = ("parameters", index, "value"), parameter.name
            yield at, parameter.value, name, f"parameter {name!r}", False


def _compare_with_usual(
    chip: ChipData, frequency: Quantity, words: str, is_oscillator: bool
) -> tuple[str, str, str | None] | None:
    """Return problem, remedy and the text to write; None for a likely frequency."""
    hz, shown = frequency.nominal, frequency.text
    scannings = [SCANNING[system] for system in chip.systems]
    lines_hz = [float(scanning.line_hz) for scanning in scannings]
    fields_hz = [float(scanning.field_hz) for scanning in scannings]
    subcarriers_hz = [float(hz) for scanning in scannings for hz in scanning.subcarrier_hz]
    exact_hz = lines_hz + subcarriers_hz
    # A usual frequency but for a thousandfold is a slip of the prefix.
    slip = next((factor for factor in _SLIPS if _is_near(hz * factor, exact_hz)), None)
    if slip is not None:
        usual = print_value(hz * slip, "Hz", 7)
        return f"the frequency {shown}, but {usual} is usual", "correct the prefix", usual
    is_line, is_field = bool(_LINE_WORDS.search(words)), bool(_FIELD_WORDS.search(words))
    if is_line and not is_field and _is_near(hz, fields_hz):
        return (
            f"the field frequency {shown}, but its words name the line",
            "compare with the sheet",
            None,
        )
    if is_field and not is_line and _is_near(hz, lines_hz):
        return (
            f"the line frequency {shown}, but its words name the field",
            "compare with the sheet",
            None,
        )
    multiples_hz = [line * n for line in lines_hz for n in range(1, _MOST_LINE_MULTIPLE + 1)]
    is_between = min(lines_hz) * (1 - _NEAR_SHARE) < hz < max(multiples_hz)
    if is_oscillator and is_between and not _is_near(hz, multiples_hz):
        problem = f"an oscillator at {shown}, no multiple of the line frequency"
        return problem, "compare with the sheet", None
    return None


def _is_near(hz: float, usual_hz: list[float]) -> bool:
    return any(abs(hz / usual - 1) < _NEAR_SHARE for usual in usual_hz)
