"""Advice on waveforms that are not what a parameter of their pin states."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from ..chips.data import ChipData
from ..chips.level_words import find_stated_field
from ..chips.places import walk_pin_expectations
from ..quantities import Quantity
from .example import expect
from .rule import Problem, advice

# Taken where a parameter states its typical value alone. Common practice.
_ASSUMED_PERCENT: Final = 20.0


def _write_chip(level: str) -> str:
    """Return the fragment of a bus pin with a stated high level, and this one in its waveform."""
    waveform = f"{{kind: bus activity, low: 0 V, high: {level}, clock: 100 kHz, line: clock}}"
    return f"""\
parameters:
  - {{name: high level of the clock, pins: [4], value: min 4.5 V typ 5 V max 5.5 V,
     source: {{id: sheet, page: 3}}}}
pins:
  - number: 4
    symbol: SCL
    function: bus clock
    role: bus
    expectations:
      - {expect(f"dc: {level}, waveform: {waveform}")}
"""


@advice(
    "parameter-kept",
    title="A waveform has the levels, the size and the frequency that parameters of its pin state.",
    why="""The parameter comes from the data sheet; a waveform that is drawn otherwise makes a good
    set look faulty.""",
    fix="Compare both with the data sheet, and correct the wrong one.",
    bad=_write_chip("3 V"),
    good=_write_chip("5 V"),
)
def find_broken_parameters(chip: ChipData) -> Iterator[Problem]:
    """Yield each field of a waveform that lies beyond the limits of a parameter of its pin."""
    for at, pin, expectation in walk_pin_expectations(chip):
        waveform = expectation.waveform
        for parameter in chip.parameters if waveform is not None else ():
            if waveform is None or pin.number not in parameter.pins:
                continue
            # Most parameters, such as a gain, have no field in a waveform.
            field = find_stated_field(waveform.kind, parameter.name, parameter.value.unit)
            waveform_value = getattr(waveform, field, None) if field else None
            if field is None or not isinstance(waveform_value, Quantity):
                continue
            low, high = parameter.value.limits(_ASSUMED_PERCENT)
            if not low <= waveform_value.nominal <= high:
                field_words = field.replace("_", " ")
                problem = (
                    f"pin {pin.number} has {field_words} {waveform_value}, but parameter"
                    f" {parameter.name!r} states {parameter.value}"
                )
                yield Problem((*at, "waveform", field), problem, "compare both with the data sheet")
