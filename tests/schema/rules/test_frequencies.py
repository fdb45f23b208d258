"""Slips of the prefix and of the column; the usual frequencies are those of ITU-R BT.470-6."""

from __future__ import annotations

import pytest
import yaml
from pinfolio.schema.chips.data import ChipData
from pinfolio.schema.rules.example import EXAMPLE_CHIP
from pinfolio.schema.rules.frequencies import find_unlikely_frequencies


def list_advised(frequency: str, function: str, role: str, system: str) -> list[str]:
    """The problems of a chip whose pin 4 has a sine of this frequency."""
    document = yaml.load(EXAMPLE_CHIP, Loader=yaml.BaseLoader)
    document["systems"] = [system]
    pin = document["pins"][3]
    pin |= {"function": function, "role": role}
    waveform = {"kind": "sine", "frequency": frequency, "vpp": "1 Vpp"}
    source = {"id": document["sources"][0]["id"], "page": 2}
    condition = document["conditions"][0]["name"]
    pin["expectations"] = [
        {"condition": condition, "dc": "4 V", "source": source} | {"waveform": waveform}
    ]
    return [
        f"{p.problem}; {p.write}"
        for p in find_unlikely_frequencies(ChipData.model_validate(document))
    ]


@pytest.mark.parametrize(
    ("frequency", "function", "role", "system", "words"),
    [
        ("15.625 MHz", "drive", "output", "PAL-B/G", "15.625 kHz is usual; 15.625 kHz"),
        ("4.43361875 kHz", "reference", "input", "PAL-B/G", "4.433619 MHz is usual"),
        ("3.579545 kHz", "reference", "input", "NTSC-M", "3.579545 MHz is usual"),
        (
            "50 Hz",
            "line drive output",
            "output",
            "PAL-B/G",
            "field frequency 50 Hz, but its words name the line",
        ),
        ("15.625 kHz", "vertical drive output", "output", "PAL-B/G", "line frequency 15.625 kHz"),
        ("51.6 kHz", "oscillator", "oscillator", "PAL-B/G", "no multiple of the line frequency"),
    ],
)
def test_a_slip_is_named(frequency: str, function: str, role: str, system: str, words: str) -> None:
    (problem,) = list_advised(frequency, function, role, system)
    assert words in problem


@pytest.mark.parametrize(
    ("frequency", "function", "role", "system"),
    [
        ("15.625 kHz", "line drive output", "output", "PAL-B/G"),
        ("50 Hz", "vertical drive output", "output", "PAL-B/G"),
        ("500 kHz", "oscillator", "oscillator", "PAL-B/G"),
        ("503.5 kHz", "oscillator", "oscillator", "NTSC-M"),
        ("4.43361875 MHz", "oscillator", "oscillator", "PAL-B/G"),
        ("1 kHz", "sound output", "output", "PAL-B/G"),
        ("5.5 MHz", "sound intercarrier", "input", "PAL-B/G"),
        ("50 Hz", "line and field blanking", "output", "PAL-B/G"),
    ],
)
def test_usual_frequencies_are_left_alone(
    frequency: str, function: str, role: str, system: str
) -> None:
    assert list_advised(frequency, function, role, system) == []


def test_nodes_and_parameters_are_looked_at_too() -> None:
    document = yaml.load(EXAMPLE_CHIP, Loader=yaml.BaseLoader)
    source = {"id": document["sources"][0]["id"], "page": 2}
    waveform = {"kind": "sine", "frequency": "50 Hz", "vpp": "1 Vpp"}
    shown = {"condition": "colour bars", "dc": "4 V", "waveform": waveform, "source": source}
    node = {"id": "drive", "name": "collector of the line driver", "expectations": [shown]}
    document["application"] = {"nodes": [node]}
    document["parameters"] = [
        {"name": "line frequency", "value": "15.625 MHz", "source": source},
        {"name": "pull-in range of the line oscillator", "value": "50 Hz", "source": source},
    ]
    found = list(find_unlikely_frequencies(ChipData.model_validate(document)))
    assert [problem.at for problem in found] == [
        ("application", "nodes", 0, "expectations", 0, "waveform", "frequency"),
        ("parameters", 0, "value"),
    ]
    assert found[1].problem == (
        "parameter 'line frequency' has the frequency 15.625 MHz, but 15.625 kHz is usual"
    )
