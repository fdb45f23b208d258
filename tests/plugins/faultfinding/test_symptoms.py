"""What the set does, in the trade's words: which chips can show it, and what it says of outputs."""

from __future__ import annotations

from functools import cache

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import chip_to_yaml, load_chip, read_chip
from pinfolio.plugins.faultfinding.job import find_fault
from pinfolio.plugins.faultfinding.outcomes import Predictions
from pinfolio.plugins.faultfinding.points import OUTCOMES, Point
from pinfolio.plugins.faultfinding.suspects import Observation
from pinfolio.plugins.faultfinding.symptoms import (
    UnknownSymptom,
    observed_by,
    symptom_named,
    symptoms_of,
)
from pinfolio.schema import Chip
from pinfolio.schema.instruments.ordinary import BUILT_IN


@cache
def chip(stem: str) -> Chip:
    return load_chip(next(path for path in chip_files() if path.stem == stem))


def told(stem: str, name: str) -> set[tuple[str, str, str]]:
    """Symbol, quantity and outcome of all that a symptom says."""
    found = chip(stem)
    pins = [Point(f"pin {pin.number}", q) for pin in found.pins for q in ("dc", "vpp", "frequency")]
    everything = Predictions((), tuple(pins), None)  # type: ignore[arg-type]
    observed = observed_by(found, symptom_named(found, name), everything)
    symbols = {f"pin {pin.number}": pin.symbol for pin in found.pins}
    return {(symbols[o.point.at], o.point.quantity, o.outcome) for o in observed}


def test_one_colour_missing_says_that_the_others_are_there() -> None:
    assert told("mdq3724", "no green") == {
        ("R OUT", "vpp", "as expected"),
        ("G OUT", "vpp", "missing"),
        ("B OUT", "vpp", "as expected"),
    }


@pytest.mark.parametrize(
    ("stem", "outputs", "outcome"),
    [
        ("tqz5752", {"B-Y OUT", "R-Y OUT"}, "missing"),  # colour-difference outputs
        ("kye6848", {"C OUT"}, "missing"),  # chroma alone
        ("ogx7342", {"R OUT", "G OUT", "B OUT"}, "distorted"),  # grey steps in place of bars
    ],
)
def test_no_colour_is_seen_where_the_chip_puts_colour_out(
    stem: str, outputs: set[str], outcome: str
) -> None:
    assert told(stem, "no colour") == {(symbol, "vpp", outcome) for symbol in outputs}


def test_a_chip_without_colour_stages_is_not_asked_about_colour() -> None:
    names = {symptom.name for symptom in symptoms_of(chip("mdq3724"))}
    assert "no colour" not in names
    assert {"no picture", "no red"} <= names


def test_no_picture_with_sound_says_that_the_sound_is_good() -> None:
    assert told("ogx1524", "no picture with sound") == {
        ("CVBS OUT", "vpp", "missing"),
        ("AF OUT", "vpp", "as expected"),
    }


def test_a_recorders_video_output_is_no_vertical_output() -> None:
    assert "no vertical deflection" not in {s.name for s in symptoms_of(chip("kye6848"))}


@pytest.mark.parametrize("path", chip_files(), ids=lambda path: path.stem)
def test_every_symptom_says_something_of_points_that_there_are(path: object) -> None:
    found = load_chip(path)  # type: ignore[arg-type]
    for symptom in symptoms_of(found):
        assert symptom.means
        assert told(found.part.lower(), symptom.name)
        assert {outcome for _, _, outcome in told(found.part.lower(), symptom.name)} <= set(
            OUTCOMES
        )


def test_a_chip_adds_its_own_which_come_first() -> None:
    first = symptoms_of(chip("tqz5752"))[0]
    assert first.name == "set clicks and stays dark"
    assert first.own == (
        Observation(Point("pin 24", "dc"), "too high"),
        Observation(Point("pin 19", "vpp"), "missing"),
    )


def test_its_own_symptom_leads_to_what_it_is_about() -> None:
    """The protection divider from R716 to R717 at pin 24: above 2.2 V the line drive stops."""
    job = find_fault(chip("tqz5752"), ["set clicks and stays dark"], [], BUILT_IN.choose())
    assert {"R717", "R716", "pin 24", "protection"} & {s.hypothesis.what for s in job.suspects[:3]}


def test_own_symptoms_are_written_back_as_they_were_read() -> None:
    found = chip("tqz5752")
    assert read_chip(chip_to_yaml(found).encode(), "again.yaml").symptoms == found.symptoms


def test_an_unknown_symptom_names_the_chips_own_too() -> None:
    with pytest.raises(UnknownSymptom, match="there are: set clicks and stays dark, no picture"):
        symptom_named(chip("tqz5752"), "smells odd")
