"""What is true: the typed vocabulary of chips, pins and signals, pure and without I/O."""

from __future__ import annotations

from importlib import import_module

TYPE_CHECKING = False  # as typing has it
if TYPE_CHECKING:
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

# Models take long to import; what needs none of them should not wait (PEP 562).
_HOLDS = {
    ".application": ("Application", "Block", "Hazard", "Node", "Part"),
    ".chip": ("Chip", "ChipRuleError", "Pin", "Relation", "Supply"),
    ".expectation": ("Condition", "Expectation", "ResistanceToGround"),
    ".json_schema": ("chip_json_schema",),
    ".package": ("Package",),
    ".quantity": ("Quantity", "QuantityError", "parse_quantity", "print_quantity", "print_value"),
    ".rules": ("Finding",),
    ".sources": ("Source", "SourceReference"),
    ".systems": ("SCANNING", "Scanning", "System"),
    ".waveforms": ("AnyWaveform", "WAVEFORM_KINDS", "Waveform"),
}
_HOMES = {name: module for module, names in _HOLDS.items() for name in names}


def __getattr__(name: str) -> object:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    globals()[name] = found = getattr(import_module(_HOMES[name], __name__), name)
    return found
