"""Where judging a capture changes its mind: hum, shape, and captures of part of a period."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from pinfolio.loaders.captures.capture import Capture
from pinfolio.plugins.readings.capture_check import CaptureCheck, check_capture
from pinfolio.plugins.readings.pictures.capture_pictures import CapturePictures
from pinfolio.schema import Chip
from pinfolio.schema.instruments.ordinary import BUILT_IN
from pinfolio.schema.reading import Reading
from pinfolio.schema.waveforms import Samples

DIGITISING = BUILT_IN.choose(scope="digitising 50 MHz")
INTERVAL_S = 1e-5
T_S = np.arange(10_000) * INTERVAL_S  # five periods of the mains


@pytest.fixture
def chip() -> Chip:
    sheet = {"id": "sheet"}

    def pin(number: int, **shown: Any) -> dict[str, Any]:
        expectation = {"condition": "bars", "source": sheet, **shown}
        return {
            "number": number, "symbol": f"P{number}", "function": "test", "role": "output",
            "expectations": [expectation] if shown else [],
        }  # fmt: skip

    sine = {"kind": "sine", "vpp": "2 Vpp"}
    saw = {"kind": "sawtooth", "vpp": "2 Vpp", "frequency": "1 kHz"}
    return Chip.model_validate(
        {
            "file_format": "pinfolio chip 1", "part": "QZ1", "maker": "Nobody",
            "kind": "chroma/luma processor", "summary": "Invented for this test.",
            "invented": True, "package": {"family": "DIP", "pins": 8},
            "supplies": [{"name": "VCC", "pins": [8], "voltage": "12 V"}],
            "sources": [{**sheet, "kind": "data sheet", "title": "Sheet"}],
            "conditions": [{"name": "bars", "means": "Bars."}],
            "pins": [
                pin(1, dc="5 V"), pin(2, dc="5 V", waveform=sine | {"frequency": "1 kHz"}),
                pin(3, dc="5 V", waveform=sine | {"frequency": "490 Hz"}),
                pin(4, dc="5 V", waveform=sine | {"frequency": "510 Hz"}),
                pin(5, dc="5 V", waveform=saw), pin(6),
                {**pin(7), "role": "ground"}, {**pin(8), "role": "supply"},
            ],
        }
    )  # fmt: skip


def check(
    chip: Chip, pin: int, volts: Samples, reading: Reading | None = None, **more: Any
) -> CaptureCheck:
    capture = Capture(T_S[: len(volts)], (volts,), INTERVAL_S, ("CH1",))
    return check_capture(
        chip, chip.pins[pin - 1], capture, reading or Reading(), DIGITISING, **more
    )


def make_sine(hz: float, peak_v: float) -> Samples:
    return peak_v * np.sin(2 * np.pi * hz * T_S + 0.3)


def has_hum(found: CaptureCheck) -> bool:
    return any("hum on it" in why for why in found.judged.why)


@pytest.mark.parametrize("mains_hz", [50.0, 100.0])
@pytest.mark.parametrize(
    ("pin", "hz", "hum_vpp", "seen"),
    [
        (1, 0.0, 0.0145, False),
        (1, 0.0, 0.0155, True),
        (2, 1000.0, 0.29, False),
        (2, 1000.0, 0.31, True),
        (3, 490.0, 0.5, False),
        (4, 510.0, 0.5, True),
    ],
)
def test_hum_is_ripple_of_fifteen_percent_on_a_signal_far_from_the_mains(
    chip: Chip, mains_hz: float, pin: int, hz: float, hum_vpp: float, seen: bool
) -> None:
    """Of the peak to peak, or of 0.1 V; below 500 Hz it may be the signal's own. Common practice;
    half-wave ripple has the mains frequency, full-wave ripple twice that (IEC 60038)."""
    volts = 5.0 + (make_sine(hz, 1.0) if hz else 0.0) + make_sine(mains_hz, hum_vpp / 2)
    assert has_hum(check(chip, pin, volts)) == seen


def test_what_was_said_before_is_not_said_twice(chip: Chip) -> None:
    found = check(chip, 1, 5.0 + make_sine(100, 0.5), Reading(seen=("hum",)))
    assert sum("hum on it" in why for why in found.judged.why) == 1


class TestTheShape:
    def test_the_same_shape_has_no_remark(self, chip: Chip) -> None:
        found = check(chip, 2, 5.0 + make_sine(1000, 1.0))
        assert found.remarks == ()
        assert found.judged.verdict == "as expected"

    @pytest.mark.parametrize(("harmonic", "remarked"), [(0.30, False), (0.36, True)])
    def test_below_95_percent_it_is_another(
        self, chip: Chip, harmonic: float, remarked: bool
    ) -> None:
        """A harmonic of share h leaves a correlation of 1 / sqrt(1 + h²): 95 % at 0.329."""
        found = check(chip, 2, 5.0 + make_sine(1000, 0.9) + make_sine(3000, 0.9 * harmonic))
        assert any("like what it should be" in remark for remark in found.remarks) == remarked

    def test_upside_down_from_the_same_share_on(self, chip: Chip) -> None:
        turn = np.mod(1e3 * T_S + 0.2, 1.0)
        found = check(chip, 5, 5.0 - (2 * turn - 1))
        assert found.remarks[-1] == "The shape is upside down"
        assert found.judged.verdict == "distorted"

    def test_a_difference_is_named_with_its_place_and_size(self, chip: Chip) -> None:
        turn = np.mod(1e3 * T_S, 1.0)
        volts = 5.0 + 2 * turn - 1
        volts[(turn > 0.4) & (turn < 0.6)] -= 1.2
        (remark,) = [r for r in check(chip, 5, volts).remarks if "differs most" in r]
        assert remark.startswith("The shape is ")
        assert " µs into the cycle, by -" in remark


class TestFigures:
    @pytest.mark.parametrize(("samples", "given"), [(102, True), (98, False)])
    def test_less_than_a_period_tells_no_dc(self, chip: Chip, samples: int, given: bool) -> None:
        """1 kHz has a hundred samples to a period."""
        found = check(chip, 2, (5.0 + make_sine(1000, 1.0))[:samples])
        quantities = [result.expected.quantity for result in found.judged.results]
        assert ("dc" in quantities) == given

    def test_figures_of_the_reading_take_precedence(self, chip: Chip) -> None:
        given = Reading(dc_v=4.9, vpp_v=1.9, frequency_hz=990.0)
        found = check(chip, 2, 5.0 + make_sine(1000, 1.0), given)
        assert [result.value for result in found.judged.results] == [4.9, 1.9, 990.0]
        found = check(chip, 2, 5.0 + make_sine(1000, 1.0))
        values = [result.value for result in found.judged.results]
        assert values == pytest.approx([5.0, 2.0, 1000.0], rel=1e-3)

    def test_a_channel_is_chosen(self, chip: Chip) -> None:
        two = (np.zeros(len(T_S)), 5.0 + make_sine(1000, 1.0))
        capture = Capture(T_S, two, INTERVAL_S, ("CH1", "CH2"))
        found = check_capture(chip, chip.pins[1], capture, Reading(), DIGITISING, channel=1)
        assert found.judged.verdict == "as expected"


class TestThePicture:
    def test_the_capture_lies_on_the_expected_trace(self, chip: Chip) -> None:
        """Wherever it begins, whole cycles are shifted until it covers the screen."""
        for start_s in (0.0, 0.4e-3):
            volts = 5.0 + np.sin(2 * np.pi * 1e3 * (T_S + start_s))
            found = check(chip, 2, volts)
            picture = CapturePictures(found, "compared").draw_comparison(standalone=False)
            assert picture is not None
            assert 'class="scope-captured"' in picture

    def test_without_any_expected_voltage_there_is_no_picture(self, chip: Chip) -> None:
        found = check(chip, 1, 5.0 + make_sine(1000, 0.01))
        assert found.likeness is None
        assert CapturePictures(found, "compared").draw_comparison() is not None
