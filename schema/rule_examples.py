"""What the rule book holds: each rule with its reason, a bad and a good example.

An example shows only the keys that matter; of the pins, those that change.
"""

from __future__ import annotations

from dataclasses import dataclass
from textwrap import dedent
from typing import Final


@dataclass(frozen=True)
class BookRule:
    """One rule: its name, whether it keeps a chip out of a folio, why it matters, two examples."""

    name: str
    blocks: bool
    why: str
    bad: str
    good: str


EXAMPLE: Final = """\
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
"""A small chip file without a fault, and about which there is no advice."""


def _rule(name: str, why: str, bad: str, good: str, *, blocks: bool = True) -> BookRule:
    bad, good = (dedent(text).strip() + "\n" for text in (bad, good))
    return BookRule(name, blocks, " ".join(why.split()), bad, good)


def _pin(number: int, expectation: str, **changed: str) -> str:
    """A pin of the example with one expectation, and what else is changed on it."""
    symbol, function, role = {
        1: ("VCC", "supply", "supply"),
        2: ("GND", "ground", "ground"),
        3: ("IN", "composite video input", "input"),
        4: ("OUT", "composite video output", "output"),
    }.get(number, ("SPARE", "not connected", "unused"))
    keys = {"number": number, "symbol": symbol, "function": function, "role": role, **changed}
    head = "\n    ".join(f"{key}: {value}" for key, value in keys.items())
    return f"pins:\n  - {head}\n    expectations:\n      - {expectation}\n"


def _shown(values: str, source: str = "{id: sheet, page: 2}") -> str:
    return f"{{condition: colour bars, {values}, source: {source}}}"


def _floating(dc: str, vpp: str) -> str:
    return _shown(f"dc: {dc}, waveform: {{kind: sine, frequency: 1 kHz, vpp: {vpp}}}")


def _pulses(dc: str, shape: str) -> str:
    return _shown(f"dc: {dc}, waveform: {{kind: pulse, frequency: 50 Hz, {shape}}}")


READING: Final[tuple[BookRule, ...]] = (
    _rule(
        "file-unreadable",
        "Nothing can be taken from a file that is not UTF-8 text in YAML, or holds a key twice.",
        "summary: First wording.\nsummary: Second wording.",
        "summary: Second wording.",
    ),
    _rule(
        "blank",
        "What is left blank is not known yet: fill it in from the data sheet, or take it out.",
        "maker:",
        "maker: Tannhof Halbleiter",
    ),
    _rule(
        "key-missing",
        "Without this key the entry says too little to be of use on a pin card.",
        "package: {family: SIP}",
        "package: {family: SIP, pins: 4}",
    ),
    _rule(
        "key-unknown",
        "A key that nobody knows is a slip; what stands under it would never be seen.",
        "markngs: [QZ1000N]",
        "markings: [QZ1000N]",
    ),
    _rule(
        "word-unknown",
        "Kinds and roles are spelt one way, so that a search for one finds all.",
        "kind: jungel",
        "kind: jungle",
    ),
    _rule(
        "quantity-unreadable",
        "A number without its unit, or with a comma, can be read in two ways; one is wrong.",
        "supplies: [{name: VCC, pins: [1], voltage: '8,0'}]",
        "supplies: [{name: VCC, pins: [1], voltage: 8.0 V}]",
    ),
    _rule(
        "waveform-shape",
        "A shape that cannot be drawn sends somebody looking for a fault that is not there.",
        _pin(4, _pulses("4 V", "low: 6 V, high: 2 V, duty: 50 %")),
        _pin(4, _pulses("4 V", "low: 2 V, high: 6 V, duty: 50 %")),
    ),
    _rule(
        "value-unreadable",
        "The value is not of the sort that belongs here, so nothing can be done with it.",
        "package: {family: SIP, pins: four}",
        "package: {family: SIP, pins: 4}",
    ),
)

WHOLE_CHIP: Final[tuple[BookRule, ...]] = (
    _rule(
        "pins-complete",
        "Whoever counts pins on the board must find every one of them, also the unused.",
        _pin(5, _shown("dc: 0 V")),
        "package: {family: SIP, pins: 5}\n" + _pin(5, _shown("dc: 0 V")),
    ),
    _rule(
        "symbols-once",
        "A symbol is what a pin is asked for by; two pins with one symbol cannot be told apart.",
        _pin(4, _shown("dc: 4 V"), symbol="IN"),
        _pin(4, _shown("dc: 4 V"), symbol="OUT1"),
    ),
    _rule(
        "names-once",
        "Conditions, sources, symptoms, blocks, nodes and parts are known by name: one a thing.",
        "application: {nodes: [{id: amplifier, name: foot of R1}]}",
        "application: {nodes: [{id: foot-of-r1, name: foot of R1}]}",
    ),
    _rule(
        "references-exist",
        "An expectation in a condition or from a source that nobody described cannot be checked.",
        _pin(4, "{condition: color bars, dc: 4 V, source: {id: sheet, page: 2}}"),
        _pin(4, "{condition: colour bars, dc: 4 V, source: {id: sheet, page: 2}}"),
    ),
    _rule(
        "ends-exist",
        "A part or a block that joins something that is not there breaks the way of the signal.",
        """
        application:
          parts: [{ref: R1, kind: resistor, value: 4k7, joins: [pin 9, ground]}]
        """,
        """
        application:
          parts: [{ref: R1, kind: resistor, value: 4k7, joins: [pin 4, ground]}]
        """,
    ),
    _rule(
        "supply-and-ground",
        "Supply and ground are measured first, so it must be known which pins they are.",
        _pin(2, _shown("dc: 0 V"), role="decoupling"),
        _pin(2, _shown("dc: 0 V"), role="ground"),
    ),
    _rule(
        "dc-possible",
        "DC beyond the supplies or the absolute maximum is a slip, or has a reason to be told.",
        _pin(4, _shown("dc: 12 V")),
        _pin(4, _shown("dc: 12 V, beyond_supply: The load is tied to the 12 V rail.")),
    ),
    _rule(
        "waveform-possible",
        "A peak beyond the supplies or the absolute maximum is a slip, or has a reason to be told.",
        _pin(4, _floating("4 V", "12 Vpp")),
        _pin(4, _floating("4 V", "2 Vpp")),
    ),
    _rule(
        "waveform-on-dc",
        "A meter reads the mean of a signal; where the two disagree one of them is wrong.",
        _pin(4, _pulses("6 V", "low: 0 V, high: 4 V, duty: 50 %")),
        _pin(4, _pulses("2 V", "low: 0 V, high: 4 V, duty: 50 %")),
    ),
    _rule(
        "crystal-fits",
        "A decoder catches a few hundred hertz: with another crystal there is no colour.",
        """
        application:
          parts: [{ref: X1, kind: crystal, value: 4.43 MHz, joins: [pin 3, ground]}]
        """,
        """
        application:
          parts: [{ref: X1, kind: crystal, value: 4.433619 MHz, joins: [pin 3, ground]}]
        """,
    ),
    _rule(
        "relations-elsewhere",
        "A chip that stands in for itself helps nobody who looks for another one.",
        "similar: [{part: QZ-1000}]",
        "similar: [{part: QZ1001}]",
    ),
)


ADVICE: Final[tuple[BookRule, ...]] = (
    _rule(
        "dc-missing",
        "DC is what is measured first: a pin without it is no help where its neighbours are.",
        _pin(4, _shown("resistance: {red_on_pin: 5 kΩ}")),
        _pin(4, _shown("dc: 4 V, resistance: {red_on_pin: 5 kΩ}")),
        blocks=False,
    ),
    _rule(
        "source-page-missing",
        "With the page at hand, whoever doubts a value has it checked in a minute.",
        _pin(4, _shown("dc: 4 V", "{id: sheet}")),
        _pin(4, _shown("dc: 4 V", "{id: sheet, page: 3}")),
        blocks=False,
    ),
    _rule(
        "dc-for-role",
        """A ground pin reads nothing, a supply pin its supply, and an output that is dead in
        every condition is likely a value from the row beside.""",
        _pin(2, _shown("dc: 3 V")),
        _pin(2, _shown("dc: 20 mV")),
        blocks=False,
    ),
    _rule(
        "peak-near-limit",
        """A peak just beyond ground or the supply may be the rounding of the data sheet, or a
        wrong size or DC; a coil or a diode that lifts it is worth telling.""",
        _pin(4, _floating("2 V", "4.1 Vpp")),
        _pin(4, _floating("2 V", "3.9 Vpp")),
        blocks=False,
    ),
    _rule(
        "pin-in-no-block",
        "The way of a signal is followed block by block; at a pin in no block it breaks off.",
        "blocks: [{id: amplifier, name: amplifier, inputs: [pin 3], needs: [pin 1]}]",
        "blocks: [{id: amplifier, name: amplifier, inputs: [pin 3], outputs: [pin 4]}]",
        blocks=False,
    ),
    _rule(
        "symbol-unusual",
        """Pins that do the same are easier to find when they are called the same; a lone symbol
        is often a misreading of the data sheet. Compared with the other chip files given.""",
        _pin(3, _shown("dc: 3 V"), symbol="CVB5"),
        _pin(3, _shown("dc: 3 V"), symbol="CVBS IN"),
        blocks=False,
    ),
)
