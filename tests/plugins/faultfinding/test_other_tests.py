"""Ripple, resistances with the set off, parts out of circuit: as readings and as next probes."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.cards.cautions import may_probe
from pinfolio.plugins.faultfinding.failures import fault_dictionary
from pinfolio.plugins.faultfinding.hypotheses import hypotheses
from pinfolio.plugins.faultfinding.job import Job, find_fault
from pinfolio.plugins.faultfinding.next_probe import proposals
from pinfolio.plugins.faultfinding.other_tests import with_other_tests
from pinfolio.plugins.faultfinding.out_of_circuit import outcome_of
from pinfolio.plugins.faultfinding.outcomes import Predictions, predictions
from pinfolio.plugins.faultfinding.points import OUT_OF_CIRCUIT
from pinfolio.plugins.faultfinding.set_off import SetOff, off_network, set_off
from pinfolio.plugins.faultfinding.suspects import posterior
from pinfolio.plugins.faultfinding.worked_out import working_condition
from pinfolio.plugins.readings.part_reading import PART_OUTCOMES, PartReading, parse_part_reading
from pinfolio.plugins.readings.reading_syntax import parse_reading
from pinfolio.schema import Chip, Part
from pinfolio.schema.instruments.ordinary import BUILT_IN
from pinfolio.schema.reading import BadReading

DIGITISING = BUILT_IN.choose(scope="digitising 50 MHz")
STEMS = sorted(path.stem for path in chip_files())


@cache
def chip(stem: str) -> Chip:
    return load_chip(next(path for path in chip_files() if path.stem == stem))


@cache
def off(stem: str) -> SetOff:
    return set_off(chip(stem))


@cache
def everything(stem: str) -> Predictions:
    found, condition = chip(stem), working_condition(chip(stem))
    dictionary = fault_dictionary(found, condition)
    predicted = predictions(found, dictionary, hypotheses(found, dictionary))
    return with_other_tests(found, off(stem), predicted, condition)


def hunted(stem: str, symptom: str, *readings: str) -> Job:
    return find_fault(chip(stem), [symptom], [parse_reading(r) for r in readings], DIGITISING)


def chance(job: Job, what: str, failure: str = "") -> float:
    return sum(
        s.probability
        for s in job.suspects
        if s.hypothesis.what == what and s.hypothesis.failure.startswith(failure)
    )


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("C418 leaky", PartReading("C418", "leaky")),
        ("C418: Leaky", PartReading("C418", "leaky")),
        ("R402 measures 5k2", PartReading("R402", "5k2")),
        ("R402: 5k2", PartReading("R402", "5k2")),
        ("C7 is dried  out", PartReading("C7", "dried out")),
        ("17 3.1V", None),
        ("R402 5k2", None),
        ("C418 ohms=3k", None),
    ],
)
def test_a_part_is_written_as_it_is_said(text: str, found: PartReading | None) -> None:
    assert parse_part_reading(text) == found


@pytest.mark.parametrize(
    ("kind", "value", "found", "outcome"),
    [
        ("resistor", "4k7", "4.7 kΩ", "good"),
        ("resistor", "4k7", "5k0", "good"),  # within 10 %
        ("resistor", "4k7", "14k", "value too high"),
        ("resistor", "4k7", "10M", "open"),
        ("resistor", "4k7", "2R2", "shorted"),
        ("capacitor", "100n", "85n", "good"),
        ("capacitor", "100n", "1n", "open"),
        ("electrolytic capacitor", "100u", "15 µF", "value too low"),
        ("electrolytic capacitor", "100u", "140 µF", "good"),
        ("coil", "10 mH", "3 mH", "value too low"),
        ("crystal", "4.43361875 MHz", "4.43360 MHz", "good"),
        ("crystal", "4.43361875 MHz", "4.430 MHz", "off frequency"),
        ("transistor", None, "shorted", "shorted"),
        ("capacitor", "100n", "short circuit", "shorted"),
    ],
)
def test_a_part_out_of_circuit_is_held_against_its_value(
    kind: str, value: str | None, found: str, outcome: str
) -> None:
    part = Part.model_validate({"ref": "Z1", "kind": kind, "value": value, "joins": ("a", "b")})
    assert outcome_of(part, found)[0] == outcome


def test_a_stated_tolerance_goes_before_the_ordinary_one() -> None:
    part = Part.model_validate(
        {"ref": "R1", "kind": "resistor", "value": "10k", "tolerance": "1 %", "joins": ("a", "b")}
    )
    assert outcome_of(part, "10.3 kΩ")[0] == "value too high"


@pytest.mark.parametrize("found", ["quite odd", "3 V"])
def test_what_is_no_finding_says_what_is(found: str) -> None:
    part = Part.model_validate(
        {"ref": "R1", "kind": "resistor", "value": "10k", "joins": ("a", "b")}
    )
    with pytest.raises(BadReading, match="expected one of good, value too low"):
        outcome_of(part, found)


def test_a_part_found_open_is_the_culprit_and_found_good_it_is_not() -> None:
    before = hunted("mdq3724", "no green", "2 vpp=0.01Vpp")
    opened = hunted("mdq3724", "no green", "2 vpp=0.01Vpp", "C302 open")
    good = hunted("mdq3724", "no green", "2 vpp=0.01Vpp", "C302: good")
    assert chance(opened, "C302", "open") > 0.9
    assert chance(good, "C302", "open") < 0.1 * chance(before, "C302", "open")


def test_good_out_of_circuit_leaves_its_joint() -> None:
    """Lifted and good, the signal there before it and not behind: it was never joined."""
    job = hunted(
        "mdq3724", "no green", "2 vpp=0.01Vpp", "socket-a-green vpp=0.7Vpp", "C302 measures 104"
    )
    assert (job.suspects[0].hypothesis.what, job.suspects[0].hypothesis.failure) == (
        "C302", "joint open",
    )  # fmt: skip


def test_between_its_leads_a_resistor_never_reads_more_than_it_is() -> None:
    """What lies beside a part only takes away from its resistance (parallel resistances)."""
    for stem in STEMS:
        values = {p.ref: p.quantity for p in chip(stem).application.parts if p.kind == "resistor"}
        for point, ohm in zip(off(stem).points, off(stem).healthy, strict=True):
            quantity = values.get(point.at)
            if quantity is not None and quantity.nominal > 0:
                assert ohm <= quantity.nominal * (1 + 1e-6), point


@pytest.mark.parametrize("stem", STEMS)
def test_a_pin_reads_its_resistance_unless_the_parts_alone_conduct_more(stem: str) -> None:
    network = off_network(chip(stem))
    for point, limits, ohm in zip(
        off(stem).points, off(stem).limits, off(stem).healthy, strict=True
    ):
        if point.at.startswith("pin ") and network.internal[point.at] > 1e-7:
            assert ohm == pytest.approx(limits.typ, rel=0.03), point


def test_a_shorted_capacitor_to_ground_shows_at_its_pin_with_the_set_off() -> None:
    found = off("kye2620")
    failure = next(f for f in found.failed if str(f) == "C501 shorted")
    column = next(at for at, point in enumerate(found.points) if point.at == "pin 2")
    assert found.outcome(failure, column) == "too low"


def test_a_resistance_with_the_set_off_goes_for_what_conducts_there() -> None:
    before = hunted("kye2620", "no line drive")
    after = hunted("kye2620", "no line drive", "2 ohms=3 Ω")
    assert chance(after, "C501") > 0.5 > chance(before, "C501")
    assert after.document()["readings"][0]["verdict"] == "too low"


def test_between_the_leads_in_circuit() -> None:
    """R503 opened: far more than what lies beside a good one lets through."""
    job = hunted("kye2620", "picture tears", "R503 ohms=2M")
    (reading,) = job.document()["readings"]
    assert (reading["at"], reading["quantity"], reading["verdict"]) == (
        "R503", "resistance", "too high",
    )  # fmt: skip


def test_ripple_on_a_supply_points_to_the_supply_or_what_steadies_it() -> None:
    """A hundredth of 12 V is quiet enough: 120 mVpp."""
    quiet = hunted("mdq3724", "hum bars", "13 vpp=50mVpp")
    noisy = hunted("mdq3724", "hum bars", "13 vpp=600mVpp")
    assert quiet.document()["readings"][1]["verdict"] == "as expected"
    assert noisy.document()["readings"][1]["verdict"] == "too high"
    assert chance(noisy, "VCC1") > 2 * chance(quiet, "VCC1")
    assert chance(noisy, "VCC1", "noisy") > 0.3


def test_hum_seen_on_a_supply_says_the_same() -> None:
    job = hunted("mdq3724", "hum bars", "13 seen=hum")
    assert chance(job, "VCC1", "noisy") > 0.3


@pytest.mark.parametrize("stem", STEMS)
def test_every_prediction_adds_up(stem: str) -> None:
    np.testing.assert_allclose(everything(stem).table.sum(axis=2), 1)
    assert everything(stem).table.min() > 0


@pytest.mark.parametrize("stem", STEMS)
def test_no_test_is_proposed_at_a_point_that_is_not_to_be_probed(stem: str) -> None:
    """Nor of a part one end of which lies there."""
    found = chip(stem)
    ends = {part.ref: part.joins for part in found.application.parts}
    for proposal in proposals(found, posterior(everything(stem), []), most=1000):
        assert all(
            may_probe(found, e) for e in (proposal.point.at, *ends.get(proposal.point.at, ()))
        )


@given(st.sampled_from(STEMS), st.data())
def test_a_part_found_so_makes_its_own_failure_likelier(stem: str, data: st.DataObject) -> None:
    """Bayes' rule, for whichever part."""
    predicted = everything(stem)
    point = data.draw(
        st.sampled_from([p for p in predicted.points if p.quantity == OUT_OF_CIRCUIT])
    )
    column = predicted.points.index(point)
    good = predicted.table[:, column, PART_OUTCOMES.index("good")]
    others = [row for row, h in enumerate(predicted.hypotheses) if h.what != point.at]
    failed = [
        row for row, h in enumerate(predicted.hypotheses)
        if h.what == point.at and not h.failure.startswith("joint")
    ]  # fmt: skip
    assert good[failed].max() < good[others].min()


def test_with_the_set_off_what_needs_it_off_comes_cheaper() -> None:
    found = posterior(everything("mdq3724"), [])
    on = {p.point: p.effort for p in proposals(chip("mdq3724"), found, most=1000)}
    off_now = {p.point: p.effort for p in proposals(chip("mdq3724"), found, most=1000, is_off=True)}
    for point, effort in on.items():
        assert (off_now[point] < effort) == point.is_passive
