"""What is true: the typed vocabulary of chips, pins and signals, pure and without I/O."""

from __future__ import annotations

from .application import Application, Block, Hazard, Node, Part
from .chip import Chip, ChipRuleError, Pin, Relation, Supply
from .expectation import Condition, Expectation, ResistanceToGround
from .json_schema import chip_json_schema
from .package import Package
from .quantity import Quantity, QuantityError, parse_quantity, print_quantity, print_value
from .rules import Finding
from .sources import Source, SourceReference
from .systems import SCANNING, Scanning, System
from .waveforms import WAVEFORM_KINDS, AnyWaveform, Waveform

__all__ = [
    "SCANNING",
    "WAVEFORM_KINDS",
    "AnyWaveform",
    "Application",
    "Block",
    "Chip",
    "ChipRuleError",
    "Condition",
    "Expectation",
    "Finding",
    "Hazard",
    "Node",
    "Package",
    "Part",
    "Pin",
    "Quantity",
    "QuantityError",
    "Relation",
    "ResistanceToGround",
    "Scanning",
    "Source",
    "SourceReference",
    "Supply",
    "System",
    "Waveform",
    "chip_json_schema",
    "parse_quantity",
    "print_quantity",
    "print_value",
]
