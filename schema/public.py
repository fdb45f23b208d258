"""The public names of the schema, listed once; ``pinfolio.schema`` hands out these and no others.

They are imported when the first of them is asked for: a command that needs no model (``find``)
imports ``schema.text`` without waiting for pydantic and numpy.
"""

from __future__ import annotations

from .chip import Chip, ChipRuleError
from .chips.application import Application, Block, Hazard, Node, Part
from .chips.data import Pin, Relation, Supply
from .chips.expectation import Condition, Expectation, ResistanceToGround
from .chips.package import Package
from .chips.parameter import Parameter
from .chips.sources import Source, SourceReference
from .file_format.json_schema import chip_json_schema
from .quantities import Quantity, QuantityError, parse_quantity, print_quantity, print_value
from .rules import Finding
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
    "Parameter",
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
