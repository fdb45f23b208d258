"""A handful of captures from outside the package; ``bench_captures.py`` has them all."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from pinfolio.plugins.terminal.cli import main

from captures.composite import Composite
from captures.defects import list_defects
from captures.instrument import Recording, record
from captures.judging import AS_EXPECTED, Answer, ask, judge_defect
from captures.places import PLACES, Place
from captures.standards import PAL

VIDEO = PLACES[0]
CHROMA = next(place for place in PLACES if place.sort == "chroma")
SANDCASTLE = next(place for place in PLACES if place.sort == "sandcastle")


def find_answer(place: Place, title: str, samples: int) -> Answer:
    defect = next(defect for defect in list_defects(place) if defect.title == title)
    return judge_defect(place, defect, samples, seed=1)


def record_good(place: Place, start_line: float) -> Answer:
    how = Recording(20_000, place.rates[10_000][0], start_line / place.line_hz, seed=5)
    capture = record(place.signal.volts, place.find_offset_v(place.signal), place.vpp, how)
    return Answer(place, None, how, ask(place, capture))


@pytest.mark.parametrize("place", [VIDEO, CHROMA, SANDCASTLE], ids=lambda place: place.name)
def test_good_lines_are_as_expected(place: Place) -> None:
    answer = record_good(place, 60.9)
    assert (answer.verdict, answer.names) == (AS_EXPECTED, [])


@pytest.mark.parametrize("place", [VIDEO, SANDCASTLE], ids=lambda place: place.name)
def test_field_blanking_is_no_fault(place: Place) -> None:
    answer = record_good(place, 300.3)
    assert answer.meets_field_blanking
    assert not answer.is_found, answer.document["why"]


@pytest.mark.parametrize("samples", [1_000, 10_000])
@pytest.mark.parametrize("place", [VIDEO, CHROMA], ids=lambda place: place.name)
def test_a_missing_burst_is_named(place: Place, samples: int) -> None:
    answer = find_answer(place, "burst missing", samples)
    assert answer.is_found
    assert "burst missing" in answer.names


@pytest.mark.parametrize(
    ("place", "title"),
    [
        (VIDEO, "PAL switch stopped"),
        (VIDEO, "probe divides by ten"),
        (VIDEO, "other system"),
        (SANDCASTLE, "burst key missing"),
    ],
    ids=lambda value: getattr(value, "name", value),
)
def test_a_defect_is_found_and_named(place: Place, title: str) -> None:
    answer = find_answer(place, title, 10_000)
    assert answer.is_found
    assert answer.is_named, answer.names


def test_the_command_names_a_missing_burst_in_a_file(tmp_path: Path) -> None:
    how = Recording(10_000, 25e6, 100.0 / VIDEO.line_hz, seed=7)
    signal = Composite(PAL, burst=0.0)
    capture = record(signal.volts, VIDEO.find_offset_v(signal), VIDEO.vpp, how)
    rows = zip(capture.t_s, capture.channels[0], strict=True)
    file = tmp_path / "capture.csv"
    file.write_text("Time (s),CH1 (V)\n" + "\n".join(f"{t:.9e},{v:.5f}" for t, v in rows))
    result = CliRunner().invoke(main, ["check", "TQZ5752", "3", "--capture", str(file), "--json"])
    document = json.loads(result.stdout)
    assert result.exit_code == 1
    assert [defect["name"] for defect in document["capture"]["defects"]] == ["burst missing"]
