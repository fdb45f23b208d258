"""One sine, pulse or DC voltage through each instrument: figures from the formulas of circuits.

Sources: the voltage divider and the one-pole low-pass, any circuit textbook (Horowitz and Hill,
The Art of Electronics, chapter 1); rise times add as the root of the sum of squares, so that
x10 probe and analogue oscilloscope together pass 1 / sqrt(1 / 100² + 1 / 20²) = 19.61 MHz; the
sampling theorem (Shannon, 1949). The least visible difference on a screen, 5 % of the picture's
height, and on a meter, 2 %, are common practice.
"""

from __future__ import annotations

import math
from typing import Any, TypeVar

import numpy as np
import pytest
from pinfolio.plugins.instruments.instrument_view import InstrumentView, view_through_instruments
from pinfolio.schema import Chip
from pinfolio.schema.instruments import Instruments, Meter, Probe, Scope
from pinfolio.schema.instruments.ordinary import BUILT_IN

X10 = BUILT_IN.probes["x10 probe"]
ANALOGUE = BUILT_IN.scopes["analogue 20 MHz"]
DIGITISING = BUILT_IN.scopes["digitising 50 MHz"]
METER = BUILT_IN.meters["digital meter"]

Instrument = TypeVar("Instrument", Meter, Probe, Scope)


def change_instrument(instrument: Instrument, **figures: Any) -> Instrument:
    """An ordinary instrument with other figures."""
    return type(instrument).model_validate(instrument.model_dump(mode="json") | figures)


def make_chip(
    waveform: dict[str, Any] | None, dc: str | None, parts: list[dict[str, Any]], **pin: str
) -> Chip:
    """A chip whose pin 1 shows a waveform on a DC voltage."""
    sheet = {"id": "sheet"}
    shown = {"condition": "colour bars", "waveform": waveform, "dc": dc, "source": sheet}
    if dc is not None and dc.startswith("-"):
        shown |= {"beyond_supply": "the output of a pump"}
    if waveform is None and dc is None:
        shown |= {"resistance": {"red_on_pin": "1 kΩ"}}
    unused = {"function": "not connected", "role": "unused"}
    output = {"symbol": "OUT", "function": "output", "role": "output", **pin}
    return Chip.model_validate(
        {
            "file_format": "pinfolio chip 1",
            "part": "QZ1",
            "maker": "Nobody",
            "kind": "chroma/luma processor",
            "summary": "Invented for this test.",
            "invented": True,
            "package": {"family": "DIP", "pins": 8},
            "supplies": [{"name": "VCC", "pins": [8], "voltage": "900 V"}],
            "sources": [{**sheet, "kind": "data sheet", "title": "Sheet"}],
            "conditions": [{"name": "colour bars", "means": "Bars."}],
            "pins": [
                {"number": 1, **output, "expectations": [shown]},
                *({"number": n, "symbol": f"NC{n}", **unused} for n in range(2, 7)),
                {"number": 7, "symbol": "GND", "function": "ground", "role": "ground"},
                {"number": 8, "symbol": "VCC", "function": "supply", "role": "supply"},
            ],
            "application": {"parts": parts},
        }
    )


def view(
    waveform: dict[str, Any] | None = None,
    dc: str | None = None,
    meter: Meter = METER,
    probe: Probe = X10,
    scope: Scope = ANALOGUE,
    parts: tuple[dict[str, Any], ...] = (),
    **pin: str,
) -> InstrumentView:
    chip = make_chip(waveform, dc, list(parts), **pin)
    chosen = Instruments(meter, probe, scope)
    return view_through_instruments(chip, chip.pins[0], chip.pins[0].expectations[0], chosen)


def make_sine(frequency: str, vpp: str = "1 Vpp") -> dict[str, Any]:
    return {"kind": "sine", "frequency": frequency, "vpp": vpp}


def view_screen_v(found: InstrumentView) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    """Time and volts of the middle of the beam, column by column."""
    assert found.trace is not None
    return found.trace.t_s, (found.trace.high_v + found.trace.low_v) / 2


def fit_phasor(found: InstrumentView, frequency_hz: float) -> complex:
    """The sine on the screen as a complex number, for one that was sin(2 pi f t) of 1 V peak."""
    t_s, volts = view_screen_v(found)
    turns = np.stack(
        [np.sin(2 * np.pi * frequency_hz * t_s), np.cos(2 * np.pi * frequency_hz * t_s)]
    )
    in_phase, quadrature = np.linalg.lstsq(turns.T, volts, rcond=None)[0]
    return complex(in_phase, quadrature)


class TestTheMeter:
    """A meter of 49 MΩ on a pin of 1 MΩ reads 49 V of 50 V: just the 2 % that nobody sees."""

    METER = change_instrument(METER, input_resistance="49 MΩ")

    def test_a_change_of_two_percent_is_not_mentioned(self) -> None:
        found = view(dc="50 V", meter=self.METER, resistance="1 MΩ")
        assert found.meter_v == 49.0
        assert found.remarks == ()

    @pytest.mark.parametrize("dc", ["50 V", "-50 V"])
    def test_a_greater_one_is(self, dc: str) -> None:
        found = view(dc=dc, meter=self.METER, resistance="1.1 MΩ")
        assert found.meter_v == pytest.approx(float(dc[:-2]) * 49 / 50.1)
        assert "pulls this pin (1.1 MΩ)" in found.remarks[0]

    def test_a_pin_of_unknown_resistance_reads_as_it_is(self) -> None:
        assert view(dc="50 V").meter_v == 50.0
        assert view(make_sine("1 kHz")).meter_v is None


class TestRatings:
    """A x10 probe takes 400 V to ground; its swing falls to 200 V at 1 MHz, twice its corner."""

    @pytest.mark.parametrize(
        ("vpp", "frequency", "dc", "refused_v"),
        [
            ("399 Vpp", "1 MHz", None, None),
            ("401 Vpp", "1 MHz", None, 200.5),
            ("199 Vpp", "50 Hz", "300 V", None),
            ("202 Vpp", "50 Hz", "300 V", 401.0),
            ("202 Vpp", "50 Hz", "-300 V", 401.0),
        ],
    )
    def test_the_peak_counts_dc_and_the_swing_is_half_the_signal(
        self, vpp: str, frequency: str, dc: str | None, refused_v: float | None
    ) -> None:
        refused = view(make_sine(frequency, vpp), dc).refused
        assert (None if refused is None else refused.peak_v) == refused_v

    @pytest.mark.parametrize("dc", ["401 V", "-401 V"])
    def test_dc_alone_counts_by_its_size(self, dc: str) -> None:
        refused = view(dc=dc).refused
        assert refused is not None
        assert refused.peak_v == 401.0
        assert refused.allowed_v == 400.0

    def test_a_pin_without_voltages_exceeds_no_rating(self) -> None:
        weak = change_instrument(X10, rating="0.5 V")
        assert view(probe=weak).refused is None
        assert view(dc="0.4 V", probe=weak).refused is None
        assert view(dc="0.6 V", probe=weak).refused is not None


class TestThePicture:
    @pytest.mark.parametrize("frequency_hz", [1e6, 4e6, 15e6])
    def test_probe_and_oscilloscope_are_a_pole_each(self, frequency_hz: float) -> None:
        found = view(make_sine(f"{frequency_hz / 1e6} MHz", "2 Vpp"))
        poles = (1 + 1j * frequency_hz / 100e6) * (1 + 1j * frequency_hz / 20e6)
        # The beam is gathered in 500 columns, about 100 to a cycle.
        assert fit_phasor(found, frequency_hz) == pytest.approx(1 / poles, abs=0.01)

    @pytest.mark.parametrize("stray_f", [0.0, 85e-12])
    def test_the_tip_divides_as_the_admittances_do(self, stray_f: float) -> None:
        """10 kΩ and 5 pF of the pin, a part soldered beside them, 10 MΩ and 15 pF of the tip."""
        frequency_hz = 1e6
        capacitor = {
            "ref": "C1", "kind": "capacitor", "value": "85 pF", "joins": ["pin 1", "ground"],
            "purpose": "filter",
        }  # fmt: skip
        parts = (capacitor,) if stray_f else ()
        found = view(make_sine("1 MHz", "2 Vpp"), parts=parts, resistance="10 kΩ")
        own = 1e-4 + 2j * math.pi * frequency_hz * (5e-12 + stray_f)
        share = own / (own + 1e-7 + 2j * math.pi * frequency_hz * 15e-12)
        poles = (1 + 1j * frequency_hz / 100e6) * (1 + 1j * frequency_hz / 20e6)
        assert fit_phasor(found, frequency_hz) == pytest.approx(share / poles, abs=0.01)

    def test_dc_coupling_shows_what_the_tip_leaves(self) -> None:
        found = view(make_sine("1 kHz", "8 Vpp"), "5 V", resistance="1 MΩ")
        assert found.settings is not None
        assert found.settings.coupling == "DC"
        _, volts = view_screen_v(found)
        assert volts.max() == pytest.approx(9 * 10 / 11, rel=0.005)
        assert volts.min() == pytest.approx(1 * 10 / 11, abs=0.03)

    def test_ac_coupling_leaves_the_mean_at_zero(self) -> None:
        """The tip takes 1/11 of the mean too, which the oscilloscope's capacitor removes."""
        pulse = {
            "kind": "pulse",
            "frequency": "1 kHz",
            "low": "5 V",
            "high": "5.02 V",
            "duty": "25 %",
        }
        found = view(pulse, resistance="1 MΩ")
        assert found.settings is not None
        assert found.settings.coupling == "AC"
        _, volts = view_screen_v(found)
        assert volts.max() == pytest.approx(0.015 * 10 / 11, rel=0.02)
        assert volts.min() == pytest.approx(-0.005 * 10 / 11, rel=0.02)

    def test_so_it_does_for_a_signal_that_floats_on_the_voltage_of_the_pin(self) -> None:
        """Two lines of luminance, 20 mVpp with a mean of its own, on 5 V."""
        luminance = {"kind": "luminance", "system": "PAL-B/G", "bars": "75 %", "vpp": "20 mVpp"}
        found = view(luminance, "5 V", resistance="1 MΩ")
        assert found.settings is not None
        assert found.settings.coupling == "AC"
        _, volts = view_screen_v(found)
        assert np.ptp(volts) > 0.005
        assert volts.mean() == pytest.approx(0.0, abs=0.0005)


class TestDigitised:
    def test_between_two_samples_it_draws_a_straight_line(self) -> None:
        """Twenty samples across the screen: chords of the sine at its samples, in 256 steps."""
        scope = change_instrument(DIGITISING, record_length=20)
        found = view(make_sine("1 kHz", "6 Vpp"), scope=scope)
        assert found.settings is not None
        span_s = 10 * found.settings.time_per_div_s
        t_s, volts = view_screen_v(found)
        first_s = t_s[0] - span_s / 500 / 2
        sampled_s = first_s + span_s / 20 * np.arange(20)
        sampled_v = 3 * np.sin(2 * np.pi * 1e3 * sampled_s)
        chords_v = np.interp(t_s, sampled_s, sampled_v)
        inside = t_s < sampled_s[-1]
        step_v = 8 * found.settings.volts_per_div / 256
        assert np.abs(volts - chords_v)[inside].max() < 1.2 * step_v
        # That is not the sine: the chord of a tenth of a cycle is 5 % below its arc.
        assert np.abs(volts - 3 * np.sin(2 * np.pi * 1e3 * t_s))[inside].max() > 3 * step_v

    @pytest.mark.parametrize("record_length", [20, 500_000_000])
    def test_samples_lie_on_the_steps_of_the_converter(self, record_length: int) -> None:
        """Four bits: eight divisions in sixteen steps of half a division."""
        scope = change_instrument(
            DIGITISING, bits=4, record_length=record_length, sample_rate="1 GHz"
        )
        found = view(make_sine("1 kHz", "6 Vpp"), scope=scope)
        assert found.settings is not None
        assert found.trace is not None
        step_v = found.settings.volts_per_div / 2
        if record_length > 20:
            levels = np.unique(np.concatenate([found.trace.low_v, found.trace.high_v]) / step_v)
            between = np.abs(levels - np.round(levels))
            assert np.isclose(between, 0).any()
            assert np.all(np.isclose(between, 0) | np.isclose(between, 0.5))  # joins of columns
            assert len(np.unique(np.round(levels))) >= 7
        peaks = np.array([found.trace.low_v.min(), found.trace.high_v.max()]) / step_v
        assert peaks == pytest.approx(np.round(peaks))

    @pytest.mark.parametrize(
        "figures", [{"sample_rate": "1 kHz"}, {"record_length": 20}, {"bits": 2}]
    )
    def test_an_analogue_oscilloscope_does_not_sample(self, figures: dict[str, Any]) -> None:
        """Though its maker may state a figure of its readout."""
        found = view(make_sine("1 kHz", "6 Vpp"), scope=change_instrument(ANALOGUE, **figures))
        t_s, volts = view_screen_v(found)
        assert volts == pytest.approx(3 * np.sin(2 * np.pi * 1e3 * t_s), abs=0.06)


class TestRemarks:
    @pytest.mark.parametrize(("frequency", "shown"), [("6.4 MHz", False), ("6.5 MHz", True)])
    def test_bandwidth_is_remarked_on_where_it_takes_five_percent(
        self, frequency: str, shown: bool
    ) -> None:
        """19.61 MHz leave 95 % at 19.61 sqrt(1 / 0.95² - 1) = 6.446 MHz."""
        remarks = view(make_sine(frequency)).remarks
        assert any("together pass 19.6 MHz: 95% of" in remark for remark in remarks) == shown

    @pytest.mark.parametrize(("frequency", "shown"), [("2.65 MHz", False), ("2.8 MHz", True)])
    def test_loading_is_remarked_on_where_it_takes_five_percent(
        self, frequency: str, shown: bool
    ) -> None:
        """1 kΩ with 5 pF, 20 pF with the tip: 95 % at 2.711 MHz."""
        remarks = view(make_sine(frequency), resistance="1 kΩ").remarks
        assert any("adds 15 pF and 10 MΩ here and leaves 95%" in r for r in remarks) == shown

    @pytest.mark.parametrize(("record_length", "shown"), [(4, False), (3, True)])
    def test_two_samples_a_cycle_are_just_enough(self, record_length: int, shown: bool) -> None:
        """1 kHz at 200 µs per division: a record of 4 takes 2 kS/s, one of 3 takes 1.5 kS/s."""
        found = view(
            make_sine("1 kHz"), scope=change_instrument(DIGITISING, record_length=record_length)
        )
        assert found.settings is not None
        assert found.settings.time_per_div_s == pytest.approx(200e-6)
        remarks = [remark for remark in found.remarks if "samples a second" in remark]
        assert bool(remarks) == shown
        if shown:
            assert "takes 1.5 ksamples a second and shows 1 kHz as 500 Hz" in remarks[0]

    @pytest.mark.parametrize(("vpp", "shown"), [("5 Vpp", False), ("4.9 Vpp", True)])
    def test_steps_of_five_percent_of_the_signal_are_just_not_seen(
        self, vpp: str, shown: bool
    ) -> None:
        """Five bits at 1 V per division: steps of a quarter of a volt."""
        found = view(make_sine("1 kHz", vpp), scope=change_instrument(DIGITISING, bits=5))
        assert found.settings is not None
        assert found.settings.volts_per_div == 1.0
        assert found.remarks == (("With 5 bits each step is 250 mV high.",) if shown else ())

    def test_dc_has_no_remarks_on_a_signal(self) -> None:
        """Neither DC alone nor a steady control voltage has a frequency to speak of."""
        steady = {"kind": "control voltage", "level": "4 V"}
        for found in (view(dc="4 V", resistance="1 MΩ"), view(steady, "4 V", resistance="1 MΩ")):
            assert found.trace is not None
            assert len(found.remarks) == 1
            assert "digital meter" in found.remarks[0]
