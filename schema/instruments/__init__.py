"""Meters, probes, oscilloscopes, counters and testers: their models, and the ordinary ones."""

from __future__ import annotations

from .models import (
    ComponentTester,
    Counter,
    Instruments,
    KnownInstruments,
    Meter,
    Probe,
    Scope,
    UnknownInstrument,
    find_full_scale,
)

__all__ = [
    "ComponentTester",
    "Counter",
    "Instruments",
    "KnownInstruments",
    "Meter",
    "Probe",
    "Scope",
    "UnknownInstrument",
    "find_full_scale",
]
