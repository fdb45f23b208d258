"""The card of a pin: its figures agree with the chip file, with each other and with the picture."""

from __future__ import annotations

import numpy as np
import pytest
from pinfolio.plugins.cards.pin_card import build_pin_card, list_places
from pinfolio.schema import Chip
from pinfolio.schema.chips.lookup import UnknownCondition, UnknownPin, find_pin
from pinfolio.schema.systems import SCANNING

from ...demo_chips import DEMO
from .test_chip_sheet import note

CHIPS = [*DEMO.values()]


def test_the_card_of_the_sync_input(jungle: Chip) -> None:
    card = build_pin_card(jungle, find_pin(jungle, "13"))
    assert card.title == "TQZ5752 pin 13 SYNC IN"
    assert card.sentence == "Input pin: composite video input of the sync separator."
    assert card.shown is not None
    assert (card.shown.condition, card.shown.dc_value) == ("colour bars", "3.4 V")
    assert card.shown.dc_limits == "3.06 V to 3.74 V, stated"
    assert (card.shown.vpp, card.shown.frequency) == ("1 Vpp", "15.625 kHz")
    assert "page 9" in card.shown.source_words


def test_a_pin_goes_by_number_or_symbol(jungle: Chip) -> None:
    assert find_pin(jungle, "sync in") is find_pin(jungle, "13")


def test_an_unknown_pin_names_what_comes_near(jungle: Chip) -> None:
    with pytest.raises(UnknownPin, match=r"pins 1 to 52, nearest: .*SYNC IN"):
        find_pin(jungle, "SYNK IN")


def test_an_unknown_condition_names_those_there_are(jungle: Chip) -> None:
    with pytest.raises(UnknownCondition, match="there are: off, standby, no signal, colour bars"):
        build_pin_card(jungle, find_pin(jungle, "13"), "blue screen")


def test_one_condition_alone(jungle: Chip) -> None:
    document = build_pin_card(jungle, find_pin(jungle, "13"), "No Signal").document()
    assert [e["condition"] for e in document["expectations"]] == ["no signal"]


def test_the_document_keeps_its_contract(jungle: Chip) -> None:
    document = build_pin_card(jungle, find_pin(jungle, "22")).document()
    assert {"part", "pin", "symbol", "function", "role", "feeds", "fed_by", "parts"} < set(document)
    shown = document["expectations"][0]
    assert set(shown["dc"]) == {"typ_v", "min_v", "max_v", "tolerance"}
    assert {"kind", "vpp_v", "frequency_hz", "mean_v", "period_s", "describes"} == set(
        shown["waveform"]
    )
    assert {"volts_per_div", "time_per_div_s", "coupling", "trigger", "probe"} == set(
        shown["scope"]
    )
    assert {len(column) for column in shown["trace"].values()} == {500}


def test_neighbours_come_from_the_block_diagram_and_the_board(jungle: Chip) -> None:
    document = build_pin_card(jungle, find_pin(jungle, "13")).document()
    assert {"kind": "block", "name": "sync separator"} in document["feeds"]
    assert [n["through"] for n in document["fed_by"]] == ["C712"]


def test_an_oscillator_pin_asks_for_a_x10_probe(jungle: Chip) -> None:
    cautions = build_pin_card(jungle, find_pin(jungle, "46")).cautions
    assert any("x10 probe" in caution for caution in cautions)
    assert any(caution.startswith("Live chassis") for caution in cautions)
    assert "local codes and licensed practice go first" in cautions[-1]


@pytest.mark.parametrize("chip", CHIPS, ids=lambda chip: chip.part)
def test_every_demo_card_hangs_together(chip: Chip) -> None:
    """A trace stays within the extremes of its waveform, the meter's mean within the DC limits."""
    for pin in chip.pins:
        card = build_pin_card(chip, pin)
        assert card.path.feeds or card.path.fed_by or pin.role in ("supply", "ground", "unused")
        for shown in card.conditions:
            seen, waveform = shown.trace, shown.expectation.waveform
            if seen is None or waveform is None:
                continue
            low_v, high_v, _ = (v + shown.expectation.offset_v for v in waveform.extremes_v)
            slack = 0.02 * (high_v - low_v) + 1e-9
            assert np.min(seen.low_v) + seen.removed_v >= low_v - slack, card.title
            assert np.max(seen.high_v) + seen.removed_v <= high_v + slack, card.title


@pytest.mark.parametrize("chip", CHIPS, ids=lambda chip: chip.part)
def test_line_rate_signals_run_at_the_line_rate_of_the_system(chip: Chip) -> None:
    """Line rates: Recommendation ITU-R BT.470-6, table 1; a modulated carrier repeats with it."""
    carriers = ("modulated IF", "FM luminance", "colour-under")
    for pin in chip.pins:
        for expectation in pin.expectations:
            waveform = expectation.waveform
            system = getattr(waveform, "system", None)
            if system is not None and waveform is not None:
                assert system in chip.systems
                rates = (SCANNING[system].line_hz, SCANNING[system].field_hz)
                on_carrier = waveform.kind in carriers
                repeats_hz = 1 / waveform.period_s if on_carrier else waveform.frequency_hz
                assert any(abs(repeats_hz / float(rate) - 1) < 1e-9 for rate in rates)


def test_a_condition_in_words(chip: Chip) -> None:
    bars, no_signal = build_pin_card(chip, chip.pins[0]).conditions
    assert bars.condition == "colour bars"
    assert bars.means == "Bars from a generator."
    assert bars.resistance_words == "red lead on pin 4.7 kΩ, black lead on pin 5.6 kΩ"
    assert bars.source_words == "data sheet, Sheet, revision B, page 4"
    assert bars.dc_limits == "3.06 V to 3.74 V, ± 10 % assumed"
    assert (no_signal.resistance_words, no_signal.vpp, no_signal.frequency) == ("not given", "", "")
    (off,) = build_pin_card(chip, chip.pins[2]).conditions
    assert (off.dc_value, off.dc_limits) == ("", "")
    assert off.resistance_words == "red lead on pin 1 MΩ"


def test_places_of_notes_are_the_pin_and_its_parts(chip: Chip) -> None:
    assert list_places(chip, chip.pins[1]) == ("pin 2", "R1", "R2", "R3", "D1")


def test_notes_are_kept_by_place_and_told_apart_by_kind(chip: Chip) -> None:
    notes = [
        note(0, "pin 1", "known-good reading"),
        note(1, "C1", "remark"),
        note(2, "pin 2", "remark"),
    ]
    card = build_pin_card(chip, chip.pins[0], notes=notes)
    assert [view.note.at for view in card.good_readings] == ["pin 1"]
    assert [view.note.at for view in card.remarks] == ["C1"]
    assert not card.has_observed  # one reading makes no range


@pytest.mark.parametrize(
    ("step_v", "limits_v"), [(0.01, (3.3, 3.5)), (1.0, (3.06, 3.74))], ids=["close", "scattered"]
)
def test_readings_of_good_sets_replace_the_limits_unless_they_scatter(
    chip: Chip, step_v: float, limits_v: tuple[float, float]
) -> None:
    """A range more than twice as wide as the catalogue's limits is shown, but not compared with."""
    notes = [
        note(
            number,
            "pin 1",
            "known-good reading",
            shop=("tarnbrook-niece", "halvorsen-sister", "fennholm-bench")[number % 3],
            date=f"2026-01-{number + 1:02}",
            condition="colour bars",
            readings={"dc": f"{3.4 + step_v * (number % 3 - 1):.2f} V"},
        )
        for number in range(6)
    ]
    card = build_pin_card(chip, chip.pins[0], "colour bars", notes=notes)
    assert card.has_observed
    assert card.shown is not None
    limits = next(figure.limits for figure in card.shown.figures if figure.quantity == "dc")
    assert (limits.low, limits.high) == pytest.approx(limits_v, abs=0.09)
    assert bool(limits.observed) == (step_v < 1)


def test_a_pin_that_may_not_be_probed_says_so(chip: Chip) -> None:
    assert build_pin_card(chip, chip.pins[3]).document()["probe"] is False
    assert build_pin_card(chip, chip.pins[0]).document()["probe"] is True


def test_figures_of_a_document(chip: Chip) -> None:
    bars = build_pin_card(chip, chip.pins[0]).document()["expectations"][0]
    assert bars["dc"] == {"typ_v": 3.4, "min_v": 3.06, "max_v": 3.74, "tolerance": "assumed"}
    assert bars["resistance"] == {"red_on_pin_ohm": 4700.0, "black_on_pin_ohm": 5600.0}
    assert bars["waveform"]["vpp_v"] == 2.0
    assert bars["waveform"]["mean_v"] == 3.4


def test_a_frequency_has_five_digits_and_figures_of_a_document_six(chip: Chip) -> None:
    """As line frequencies and subcarriers need; more than any instrument shows."""
    fields = chip.model_dump(mode="json", exclude_none=True)
    subcarrier = {"kind": "sine", "frequency": "4.43361875 MHz", "vpp": "0.33333333 Vpp"}
    fields["pins"][1]["expectations"][0]["waveform"] = subcarrier
    card = build_pin_card(Chip.model_validate(fields), find_pin(chip, "1"), "colour bars")
    exact = Chip.model_validate(fields)
    shown = build_pin_card(exact, exact.pins[1], "colour bars").conditions[0]
    assert shown.frequency == "4.4336 MHz"
    assert card.conditions[0].frequency == "1 kHz"
    document = shown.document()
    assert document["waveform"]["frequency_hz"] == 4.43361875e6
    assert document["waveform"]["vpp_v"] == 0.333333
    low_v = document["trace"]["low_v"]
    assert all(v == float(f"{v:.6g}") for v in low_v)
    assert any(v != float(f"{v:.5g}") for v in low_v)
