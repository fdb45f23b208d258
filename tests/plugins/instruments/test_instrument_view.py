"""A pin through the chosen instruments: their effect is in the remarks and in the picture."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from html import unescape
from typing import Any

import numpy as np
import pytest
from click.testing import Result
from datasette.app import Datasette
from pinfolio.loaders.shop.instruments_file import locate_instruments_file
from pinfolio.plugins.cards.pin_card import PinCard, build_pin_card
from pinfolio.plugins.drawing.scope_trace import Trace
from pinfolio.plugins.instruments.instrument_view import InstrumentView, view_through_instruments
from pinfolio.schema import Chip, Expectation, parse_quantity
from pinfolio.schema.chips.lookup import find_pin
from pinfolio.schema.instruments import Instruments, Scope
from pinfolio.schema.instruments.ordinary import BUILT_IN
from pinfolio.schema.measuring.crystal import typical_resonator
from pinfolio.schema.measuring.sampling import compute_quantisation_step_v

Run = Callable[..., Result]


@pytest.fixture(autouse=True)
def no_own_instruments(tmp_path: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.setenv("HOME", str(tmp_path))


def make_card(chip: Chip, pin: int, **names: str) -> PinCard:
    return build_pin_card(chip, find_pin(chip, str(pin)), None, BUILT_IN.choose(**names))


def view_pin(chip: Chip, pin: int, **names: str) -> InstrumentView:
    found = make_card(chip, pin, **names).through
    assert found is not None
    return found


def measure_height_v(trace: Trace | None) -> float:
    assert trace is not None
    return float(trace.high_v.max() - trace.low_v.min())


def make_high_voltage(chip: Chip, waveform: dict[str, Any] | None, dc: str | None) -> Expectation:
    """An expectation of a stage with a high voltage."""
    fields = {"condition": "colour bars", "dc": dc, "waveform": waveform, "source": {"id": "sheet"}}
    return Expectation.model_validate(fields)


FLYBACK = {
    "kind": "pulse",
    "frequency": "15.625 kHz",
    "low": "0 V",
    "high": "900 V",
    "width": "12 µs",
}


class TestAnOscillator:
    """Pin 46 of the jungle has the 4.43 MHz crystal."""

    def test_a_x1_probe_warns_by_how_much(self, jungle: Chip) -> None:
        (said,) = [r for r in view_pin(jungle, 46, probe="x1 probe").remarks if "oscillator" in r]
        assert "adds 100 pF to X702" in said
        assert "may stop; use the x10 probe" in said
        crystal = typical_resonator("crystal", 4.43361875e6)
        low_hz = 4.43361875e6 - crystal.loaded_hz(crystal.load_f + 100e-12)
        found = re.search(r"about (.*Hz) low", said)
        assert found is not None
        assert parse_quantity(found[1], "Hz").nominal == pytest.approx(low_hz, rel=0.05)

    def test_a_x10_probe_moves_it_less_and_does_not_stop_it(self, jungle: Chip) -> None:
        (said,) = [r for r in view_pin(jungle, 46, probe="x10 probe").remarks if "oscillator" in r]
        assert "Hz low." in said
        assert "may stop" not in said

    def test_undersampled_it_shows_another_frequency(self, jungle: Chip) -> None:
        said = " ".join(view_pin(jungle, 46, scope="pocket 200 kHz").remarks)
        assert "takes 1 Msamples a second and shows 4.4336 MHz as 434 kHz" in said
        assert "it needs a faster oscilloscope" in said

    def test_at_a_slow_timebase_the_safe_one_is_named(self) -> None:
        """A carrier seen at line rate: the record is spread too thin for it."""
        scope = BUILT_IN.scopes["digitising 50 MHz"]
        short = Scope.model_validate(scope.model_dump(mode="json") | {"record_length": 250})
        chosen = Instruments(BUILT_IN.meters["digital meter"], BUILT_IN.probes["x10 probe"], short)
        chip = Chip.model_validate(json.loads(CHROMA_CHIP))
        found = view_through_instruments(chip, chip.pins[0], chip.pins[0].expectations[0], chosen)
        said = next(r for r in found.remarks if "samples a second" in r)
        named = re.search(r"set (.*) per division or faster", said)
        assert named is not None
        assert parse_quantity(named[1], "s").nominal == pytest.approx(500e-9)

    def test_a_pin_without_a_crystal_is_not_called_an_oscillator(self, jungle: Chip) -> None:
        assert not any("oscillator" in r for r in view_pin(jungle, 13, probe="x1 probe").remarks)


CHROMA_CHIP = json.dumps(
    {
        "file_format": "pinfolio chip 1",
        "part": "QZ1",
        "maker": "Nobody",
        "kind": "chroma/luma processor",
        "summary": "Invented for this test.",
        "invented": True,
        "systems": ["PAL-B/G"],
        "package": {"family": "DIP", "pins": 8},
        "supplies": [{"name": "VCC", "pins": [8], "voltage": "9 V"}],
        "sources": [{"id": "sheet", "kind": "data sheet", "title": "Sheet"}],
        "conditions": [{"name": "colour bars", "means": "Bars."}],
        "pins": [
            {
                "number": number,
                "symbol": f"P{number}",
                "function": "chroma output",
                "role": "output",
                "resistance": "100 Ω",
                "expectations": [
                    {
                        "condition": "colour bars",
                        "dc": "3 V",
                        "waveform": {
                            "kind": "chrominance",
                            "system": "PAL-B/G",
                            "bars": "75 %",
                            "burst": "300 mVpp",
                        },
                        "source": {"id": "sheet"},
                    }
                ],
            }
            for number in range(1, 7)
        ]
        + [
            {"number": 7, "symbol": "GND", "function": "ground", "role": "ground"},
            {"number": 8, "symbol": "VCC", "function": "supply", "role": "supply"},
        ],
    }
)


class TestRatings:
    """A set-up that exceeds a rating is refused, with a suggestion."""

    def test_a_flyback_pulse_needs_a_x100_probe(self, jungle: Chip) -> None:
        expectation = make_high_voltage(jungle, FLYBACK, None)
        found = view_through_instruments(jungle, jungle.pins[0], expectation, BUILT_IN.choose())
        assert found.refused is not None
        assert found.settings is None
        assert found.trace is None
        assert found.remarks[-1] == (
            "Do not connect the x10 probe: 900 V peak at the probe's tip, which is rated 400 V"
            " here; use the x100 probe."
        )
        assert view_through_instruments(
            jungle, jungle.pins[0], expectation, BUILT_IN.choose(probe="x100 probe")
        ).settings

    def test_where_none_is_enough_none_is_named(self, jungle: Chip) -> None:
        found = view_through_instruments(
            jungle,
            jungle.pins[0],
            make_high_voltage(jungle, FLYBACK | {"high": "25 kV"}, None),
            BUILT_IN.choose(),
        )
        assert found.remarks[-1].endswith("no probe known here can take it.")

    def test_the_input_behind_the_probe_counts(self, jungle: Chip) -> None:
        chosen = BUILT_IN.choose(probe="x1 probe", scope="pocket 200 kHz")
        found = view_through_instruments(
            jungle, jungle.pins[0], make_high_voltage(jungle, None, "110 V"), chosen
        )
        assert "110 V peak at the oscilloscope's input, which is rated 50 V" in found.remarks[-1]
        assert found.remarks[-1].endswith("use the x10 probe.")

    @pytest.mark.parametrize("pin", [7, 9, 10])
    def test_a_plain_lead_on_a_cathode_drive_is_refused(self, run: Run, pin: int) -> None:
        """Black is at 146 V, which a x1 lead brings to the input undivided."""
        asked = ("pin", "TQZ6209", str(pin), "--scope", "pocket 200 kHz", "--json", "--probe")
        seen = json.loads(run(*asked, "x1 probe").stdout)["through"]
        assert seen["refused"]["where"] == "the oscilloscope's input"
        assert seen["refused"]["peak_v"] == pytest.approx(146, abs=1)
        assert seen["refused"]["allowed_v"] == 50
        assert seen["settings"] is None
        assert seen["remarks"][-1] == (
            "Do not connect the x1 probe: 146 V peak at the oscilloscope's input, which is rated"
            " 50 V here; use the x10 probe."
        )
        for better in ("x10 probe", "x100 probe"):
            assert json.loads(run(*asked, better).stdout)["through"]["refused"] is None

    def test_nothing_of_the_demonstration_is_refused_with_ordinary_instruments(
        self, jungle: Chip
    ) -> None:
        found = [
            build_pin_card(jungle, pin, None, BUILT_IN.choose()).through for pin in jungle.pins
        ]
        assert not [one for one in found if one is not None and one.refused]

    def test_a_page_refuses_even_while_the_own_file_has_faults(self, jungle: Chip) -> None:
        path = locate_instruments_file()
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("[prob.lead]\n", encoding="utf-8")
        found = view_through_instruments(
            jungle, jungle.pins[0], make_high_voltage(jungle, FLYBACK, None), BUILT_IN.choose()
        )
        assert found.remarks[-1].endswith("use the x100 probe.")


class TestThePicture:
    def test_an_ordinary_set_up_changes_little(self, jungle: Chip) -> None:
        """Pin 13 takes composite video: a x10 probe and 20 MHz show it as it is."""
        made = make_card(jungle, 13)
        assert made.shown is not None
        assert made.shown.trace is not None
        assert made.through is not None
        assert made.through.trace is not None
        ideal, real = made.shown.trace, made.through.trace
        np.testing.assert_array_equal(ideal.t_s, real.t_s)
        for name in ("low_v", "high_v"):
            apart = np.abs(getattr(real, name) - getattr(ideal, name))
            assert np.median(apart) < 0.02 * measure_height_v(ideal)
        assert measure_height_v(real) == pytest.approx(measure_height_v(ideal), rel=0.05)

    def test_an_input_is_not_taken_for_the_stage_that_drives_it(self, jungle: Chip) -> None:
        """Pin 3 has 50 kΩ and takes composite video from a stage of some ten ohms."""
        assert not any("leaves" in r for r in view_pin(jungle, 3).remarks)

    def test_a_x1_probe_takes_most_of_a_subcarrier(self, jungle: Chip) -> None:
        made = make_card(jungle, 46, probe="x1 probe")
        assert made.shown is not None
        assert made.through is not None
        left = next(r for r in made.through.remarks if "leaves" in r)
        share = int(re.findall(r"leaves (\d+)%", left)[0]) / 100
        passes = 0.7853  # of 4.43 MHz by a pole of 6 MHz and one of 20 MHz
        shown = measure_height_v(made.through.trace) / measure_height_v(made.shown.trace)
        assert shown == pytest.approx(share * passes, rel=0.05)

    def test_ac_coupling_takes_away_what_the_tip_leaves_of_the_mean(self, jungle: Chip) -> None:
        """Pin 16: some tens of millivolts on 4 V behind 120 kΩ, where a x10 probe takes 1 %."""
        found = view_pin(jungle, 16)
        assert found.settings is not None
        assert found.settings.coupling == "AC"
        assert found.trace is not None
        middle_v = (found.trace.high_v.max() + found.trace.low_v.min()) / 2
        assert abs(middle_v) < 0.1 * measure_height_v(found.trace)

    def test_eight_bits_make_steps(self, jungle: Chip) -> None:
        found = view_pin(jungle, 13, scope="digitising 50 MHz")
        assert found.settings is not None
        assert found.trace is not None
        steps = (found.trace.low_v + found.trace.removed_v) / compute_quantisation_step_v(
            found.settings.volts_per_div, 8
        )
        on_a_step = np.abs(steps - np.round(steps)) < 1e-6
        assert on_a_step.mean() > 0.3  # the others are on the way between two samples

    def test_a_long_record_shows_what_a_short_one_shows(self, jungle: Chip) -> None:
        scope = BUILT_IN.scopes["digitising 50 MHz"].model_dump(mode="json")
        deep = Scope.model_validate(
            scope | {"record_length": 500_000_000, "sample_rate": "100 GHz"}
        )
        chosen = Instruments(BUILT_IN.meters["digital meter"], BUILT_IN.probes["x10 probe"], deep)
        pin = find_pin(jungle, "13")
        found = build_pin_card(jungle, pin, None, chosen).through
        assert found is not None
        short = measure_height_v(view_pin(jungle, 13, scope="digitising 50 MHz").trace)
        assert measure_height_v(found.trace) == pytest.approx(short, rel=0.05)

    def test_no_time_per_division_beyond_the_knob(self, jungle: Chip) -> None:
        found = view_pin(jungle, 46, scope="pocket 200 kHz")
        assert found.settings is not None
        assert found.settings.time_per_div_s == 10e-6


class TestTheMeter:
    def test_a_high_resistance_pin_reads_low(self, jungle: Chip) -> None:
        """Pin 25 has 1 MΩ and 3.6 V: a meter of 10 MΩ reads ten elevenths of it."""
        found = view_pin(jungle, 25)
        assert found.meter_v == pytest.approx(3.6 * 10 / 11)
        assert found.meter_words == "3.27 V"
        assert "pulls this pin (1 MΩ) from 3.6 V to 3.27 V" in found.remarks[0]

    def test_a_pointer_meter_pulls_by_its_range(self, jungle: Chip) -> None:
        """3.6 V is read on 5 V, where 20 kΩ per volt make 100 kΩ."""
        assert view_pin(jungle, 25, meter="pointer meter").meter_v == pytest.approx(3.6 / 11)

    def test_what_shows_the_pin_as_it_is_has_no_remarks(self, jungle: Chip) -> None:
        supply = next(pin for pin in jungle.pins if pin.role == "supply")
        assert view_pin(jungle, supply.number).remarks == ()


class TestAsked:
    """The command and the page say the same."""

    async def test_the_page_shows_the_remarks_of_the_command(
        self, run: Run, site: Datasette
    ) -> None:
        asked = run("pin", "TQZ5752", "46", "--probe", "x1 probe", "--json")
        document = json.loads(asked.stdout)
        remarks = document["through"]["remarks"]
        assert len(remarks) >= 3
        page = await site.client.get("/chip/TQZ5752/46?probe=x1+probe")
        text = " ".join(unescape(re.sub(r"<[^>]+>", " ", page.text)).split())
        printed = " ".join(run("pin", "TQZ5752", "46", "--probe", "x1 probe").stdout.split())
        for remark in remarks:
            assert remark in text
            assert remark in printed
        served = await site.client.get("/chip/TQZ5752/46.json?probe=x1+probe")
        assert served.json() == document
        assert page.text.count("<svg") > (await site.client.get("/chip/TQZ5752/46")).text.count(
            "<svg"
        )

    async def test_the_page_names_the_choice(self, site: Datasette) -> None:
        page = await site.client.get("/chip/TQZ5752/46?probe=x1+probe&scope=pocket+200+kHz")
        assert "With digital meter, x1 probe, pocket 200 kHz" in page.text

    async def test_without_a_choice_nothing_is_said(self, run: Run, site: Datasette) -> None:
        assert "through" not in json.loads(run("pin", "TQZ5752", "46", "--json").stdout)
        page = await site.client.get("/chip/TQZ5752/46")
        assert "With your instruments" not in page.text

    async def test_an_unknown_instrument_names_those_there_are(
        self, run: Run, site: Datasette
    ) -> None:
        said = "there are: x10 probe, x1 probe, x100 probe"
        asked = run("pin", "TQZ5752", "46", "--probe", "<b>long</b> lead")
        assert asked.exit_code == 1
        assert said in asked.stderr
        page = await site.client.get("/chip/TQZ5752/46?probe=<b>long</b>+lead")
        assert page.status_code == 404
        assert said in unescape(page.text)
        assert "<b>long" not in page.text
        served = await site.client.get("/chip/TQZ5752/46.json?probe=lead")
        assert served.status_code == 404
        assert said in served.json()["error"]
