"""Readings of many pins in one text, as a table and as lines on paper; errors with their line."""

from __future__ import annotations

import pytest
from pinfolio.plugins.readings.pin_readings import convert_point
from pinfolio.plugins.readings.reading_list import ReadingsError, read_table
from pinfolio.plugins.readings.reading_syntax import PartReading, PointReading
from pinfolio.schema.reading import Reading

EXPECTED = [
    ("13", Reading(dc_v=3.1, vpp_v=0.4, frequency_hz=15100.0), None),
    ("22", Reading(resistance_ohm=4700.0, seen=("unstable",)), "off"),
]


def read(text: str, name: str) -> list[tuple[str, Reading, str | None]]:
    """Place, figures and condition of every reading at a point."""
    found = read_table(text.encode(), name)
    points = [one for one in found if isinstance(one, PointReading)]
    figures = [convert_point(point)._replace(half_digits=()) for point in points]
    return [(p.place, reading, p.condition) for p, reading in zip(points, figures, strict=True)]


@pytest.mark.parametrize("sign", [",", ";", "\t"], ids=["comma", "semicolon", "tab"])
def test_a_table_with_a_header(sign: str) -> None:
    rows = (
        ("pin", "dc", "vpp", "freq", "ohms", "seen", "condition"),
        ("13", "3.1 V", "0.4 Vpp", "15.1 kHz", "", "", ""),
        ("22", "", "", "", "4.7 kΩ", "unstable", "off"),
    )
    text = "# from the bench\n\n" + "\n".join(sign.join(row) for row in rows)
    assert read(text, "readings.csv") == EXPECTED


def test_lines_as_on_paper() -> None:
    text = "13: 3.1 V, 0.4 Vpp, 15.1 kHz\n22: 4.7 kΩ, unstable\n"
    lines = read(text, "readings.txt")
    assert [line[:2] for line in lines] == [line[:2] for line in EXPECTED]


def test_lines_say_all_that_a_prompt_takes() -> None:
    found = read_table(b"17 dc=3,1\nC418: leaky\n12 skip\nOSC 0.9..1.2 MHz\n", "b.txt")
    assert found[1] == PartReading("C418", "leaky")
    assert [line.text for line in found] == ["17 dc=3,1", "C418: leaky", "12 skip",
                                             "OSC 0.9..1.2 MHz"]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "line", "found"),
    [
        ("", 1, "no readings"),
        ("pin,volts\n13,3.1", 1, "the column 'volts'"),
        ("pin,dc\n13,3.1 V,4 V", 2, "3 cells"),
        ("pin,dc\n,3.1 V", 2, "no pin"),
        ("pin,dc\n13,", 2, "no figure for pin 13"),
        ("13: 3.1 V\n22 some volts", 2, "'22 some volts'"),
        ("13: about three", 1, "'13: about three'"),
    ],
)
def test_an_error_names_its_line(text: str, line: int, found: str) -> None:
    with pytest.raises(ReadingsError) as refused:
        read_table(text.encode(), "readings.csv")
    fault = refused.value.faults[0]
    assert (fault.file, fault.line, fault.found) == ("readings.csv", line, found)


def test_bytes_that_are_no_text_are_refused() -> None:
    with pytest.raises(ReadingsError, match="not UTF-8"):
        read_table(b"pin,dc\n13,\xff", "readings.csv")
    with pytest.raises(ReadingsError, match="more than 1 MB"):
        read_table(b"#" * 1_000_001, "readings.csv")
