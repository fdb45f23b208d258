"""Meters, probes and oscilloscopes: their models, and the ordinary ones on a bench."""

from __future__ import annotations

from .models import (
    Instruments,
    KnownInstruments,
    Meter,
    Probe,
    Scope,
    UnknownInstrument,
    full_scale,
)

__all__ = [
    "Instruments",
    "KnownInstruments",
    "Meter",
    "Probe",
    "Scope",
    "UnknownInstrument",
    "full_scale",
]
