"""Ordinary instruments, by plain description; without a choice the first of each, and no counter.

Figures as printed on the front or in the leaflet of such instruments. Common practice.
"""

from __future__ import annotations

from typing import Any, Final

from ..stored import read_stored
from . import ComponentTester, Counter, KnownInstruments, Meter, Probe, Scope

_METERS: Final[tuple[dict[str, Any], ...]] = (
    {
        "name": "digital meter",
        "describes": "Ordinary digital multimeter, 3½ digits, 10 MΩ",
        "input_resistance": "10 MΩ",
        "dc_percent": "0.5 %",
        "dc_counts": 2,
        "ohms_percent": "0.8 %",
        "ac_bandwidth": "400 Hz",
        "ac_percent": "1.2 %",
    },
    {
        "name": "small digital meter",
        "describes": "Cheap pocket digital meter, 1 MΩ",
        "input_resistance": "1 MΩ",
        "dc_percent": "1 %",
        "dc_counts": 3,
        "ohms_percent": "1.5 %",
        "ac_bandwidth": "400 Hz",
        "ac_percent": "2 %",
    },
    {
        "name": "pointer meter",
        "describes": "Pointer multimeter, 20 kΩ per volt",
        "ohms_per_volt": "20 kΩ",
        "dc_percent": "2.5 %",
        "ohms_percent": "5 %",
        "ac_bandwidth": "10 kHz",
        "ac_percent": "4 %",
    },
)
_PROBES: Final[tuple[dict[str, Any], ...]] = (
    {
        "name": "x10 probe",
        "describes": "Passive x10 probe, the ordinary choice",
        "factor": 10,
        "resistance": "10 MΩ",
        "capacitance": "15 pF",
        "bandwidth": "100 MHz",
        "rating": "400 V",
        "derated_from": "500 kHz",
    },
    {
        "name": "x1 probe",
        "describes": "Passive probe switched to x1, or a plain screened lead",
        "factor": 1,
        "resistance": "1 MΩ",
        "capacitance": "100 pF",
        "bandwidth": "6 MHz",
        "rating": "300 V",
        "derated_from": "500 kHz",
    },
    {
        "name": "x100 probe",
        "describes": "High-voltage x100 probe",
        "factor": 100,
        "resistance": "100 MΩ",
        "capacitance": "6 pF",
        "bandwidth": "100 MHz",
        "rating": "2 kV",
        "derated_from": "1 MHz",
    },
)
_SCOPES: Final[tuple[dict[str, Any], ...]] = (
    {
        "name": "analogue 20 MHz",
        "describes": "Analogue oscilloscope, 20 MHz",
        "sort": "analogue",
        "bandwidth": "20 MHz",
        "input_resistance": "1 MΩ",
        "input_capacitance": "25 pF",
        "rating": "300 V",
        "fastest": "100 ns",
        "gain_percent": "3 %",
        "timebase_percent": "3 %",
    },
    {
        "name": "digitising 50 MHz",
        "describes": "Digitising oscilloscope, 50 MHz, 8 bits, short record",
        "sort": "digitising",
        "bandwidth": "50 MHz",
        "input_resistance": "1 MΩ",
        "input_capacitance": "18 pF",
        "rating": "300 V",
        "bits": 8,
        "sample_rate": "500 MHz",
        "record_length": 2500,
        "fastest": "5 ns",
        "gain_percent": "3 %",
        "timebase_percent": "0.01 %",
    },
    {
        "name": "pocket 200 kHz",
        "describes": "Pocket digitising oscilloscope, 200 kHz, 1 million samples a second",
        "sort": "digitising",
        "bandwidth": "200 kHz",
        "input_resistance": "1 MΩ",
        "input_capacitance": "20 pF",
        "rating": "50 V",
        "bits": 12,
        "sample_rate": "1 MHz",
        "record_length": 1000,
        "fastest": "10 µs",
        "gain_percent": "5 %",
        "timebase_percent": "0.05 %",
    },
)

_COUNTERS: Final[tuple[dict[str, Any], ...]] = (
    {
        "name": "counter",
        "describes": "Frequency counter with a crystal timebase, 10 ppm",
        "timebase_percent": "0.001 %",
    },
    {
        "name": "oven counter",
        "describes": "Frequency counter with an oven or a reference received by radio, 0.1 ppm",
        "timebase_percent": "0.00001 %",
    },
    {
        "name": "meter with counter",
        "describes": "Frequency range of a digital multimeter, 0.1 %",
        "timebase_percent": "0.1 %",
    },
)

_TESTERS: Final[tuple[dict[str, Any], ...]] = (
    {
        "name": "component tester",
        "describes": "Component tester of an oscilloscope, on mains of 50 Hz",
        "open_voltage": "6 V",
        "source_resistance": "1 kΩ",
        "frequency": "50 Hz",
    },
    {
        "name": "component tester 60 Hz",
        "describes": "The same on mains of 60 Hz",
        "open_voltage": "6 V",
        "source_resistance": "1 kΩ",
        "frequency": "60 Hz",
    },
    {
        "name": "low-voltage tester",
        "describes": "Component tester for points that bear little, on mains of 50 Hz",
        "open_voltage": "1 V",
        "source_resistance": "1 kΩ",
        "frequency": "50 Hz",
    },
)

BUILT_IN: Final = KnownInstruments(
    meters={fields["name"]: read_stored(Meter, fields) for fields in _METERS},
    probes={fields["name"]: read_stored(Probe, fields) for fields in _PROBES},
    scopes={fields["name"]: read_stored(Scope, fields) for fields in _SCOPES},
    counters={fields["name"]: read_stored(Counter, fields) for fields in _COUNTERS},
    testers={fields["name"]: read_stored(ComponentTester, fields) for fields in _TESTERS},
)
