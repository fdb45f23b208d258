"""Meters, probes, oscilloscopes and counters: their models, and the ordinary ones on a bench."""

from __future__ import annotations

from .models import (
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
    "Counter",
    "Instruments",
    "KnownInstruments",
    "Meter",
    "Probe",
    "Scope",
    "UnknownInstrument",
    "find_full_scale",
]
