"""The chip file of the rule book, and the fragments that bad and good examples are made of.

An example shows only the keys that matter; of the pins, those that change.
"""

from __future__ import annotations

from typing import Final

EXAMPLE_CHIP: Final = """\
part: QZ1000
maker: Tannhof Halbleiter
kind: jungle
summary: Invented example of a chip file in which nothing is missing.
invented: yes
systems: [PAL-B/G]
package: {family: SIP, pins: 4}
supplies:
  - {name: VCC, pins: [1], voltage: 8 V ± 5 %}
sources:
  - {id: sheet, kind: data sheet, title: QZ1000 preliminary data (invented)}
conditions:
  - {name: colour bars, means: 75 % colour bars at the aerial socket}
blocks:
  - {id: amplifier, name: amplifier, inputs: [pin 3], outputs: [pin 4], needs: [pin 1]}
pins:
  - number: 1
    symbol: VCC
    function: supply
    role: supply
    expectations: [{condition: colour bars, dc: 8 V, source: {id: sheet, page: 2}}]
  - number: 2
    symbol: GND
    function: ground
    role: ground
    expectations: [{condition: colour bars, dc: 0 V, source: {id: sheet, page: 2}}]
  - number: 3
    symbol: IN
    function: composite video input
    role: input
    absolute_maximum: 6 V
    expectations: [{condition: colour bars, dc: 3 V, source: {id: sheet, page: 2}}]
  - number: 4
    symbol: OUT
    function: composite video output
    role: output
    expectations: [{condition: colour bars, dc: 4 V, source: {id: sheet, page: 2}}]
"""
"""A small chip file that keeps every rule and every advice."""


def write_pin(number: int, expectation: str, **changed: str) -> str:
    """Return the fragment that gives a pin of the example one expectation and changed keys."""
    symbol, function, role = {
        1: ("VCC", "supply", "supply"),
        2: ("GND", "ground", "ground"),
        3: ("IN", "composite video input", "input"),
        4: ("OUT", "composite video output", "output"),
    }.get(number, ("SPARE", "not connected", "unused"))
    keys = {"number": number, "symbol": symbol, "function": function, "role": role, **changed}
    head = "\n    ".join(f"{key}: {value}" for key, value in keys.items())
    return f"pins:\n  - {head}\n    expectations:\n      - {expectation}\n"


def expect(values: str, source: str = "{id: sheet, page: 2}") -> str:
    """Return an expectation of these values in the condition of the example."""
    return f"{{condition: colour bars, {values}, source: {source}}}"


def expect_sine(dc: str, vpp: str) -> str:
    """Return an expectation of a floating sine wave of ``vpp`` on a DC voltage."""
    return expect(f"dc: {dc}, waveform: {{kind: sine, frequency: 1 kHz, vpp: {vpp}}}")


def expect_pulses(dc: str, shape: str) -> str:
    """Return an expectation of pulses to ground of this ``shape``, with their DC voltage."""
    return expect(f"dc: {dc}, waveform: {{kind: pulse, frequency: 50 Hz, {shape}}}")
