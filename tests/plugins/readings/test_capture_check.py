"""A capture of a pin: its figures and its shape judged, and drawn over the expected trace."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from click.testing import Result
from pinfolio.loaders.captures.capture import Capture
from pinfolio.plugins.readings.capture_check import CaptureCheck, check_capture
from pinfolio.plugins.readings.pictures.capture_pictures import CapturePictures
from pinfolio.schema import Chip
from pinfolio.schema.chips.lookup import find_pin
from pinfolio.schema.instruments.ordinary import BUILT_IN
from pinfolio.schema.reading import Reading

Run = Callable[..., Result]
DIGITISING = BUILT_IN.choose(scope="digitising 50 MHz")
T_S = np.arange(5000) * 4e-8


def captured(jungle: Chip, pin: str, change: Callable[[np.ndarray], np.ndarray]) -> CaptureCheck:
    """A capture of a pin of the jungle in colour bars, with a little noise, changed somehow."""
    found = find_pin(jungle, pin)
    expectation = found.expectation("colour bars")
    assert expectation is not None
    noise = np.random.default_rng(7).normal(0, 0.01, len(T_S))
    volts = change(expectation.volts(T_S + 3.3e-5)) + noise
    capture = Capture(T_S, (volts,), 4e-8, ("CH1",))
    return check_capture(jungle, found, capture, Reading(), DIGITISING)


def test_a_good_sandcastle_is_as_expected(jungle: Chip) -> None:
    found = captured(jungle, "22", lambda volts: volts)
    assert found.judged.verdict == "as expected"
    assert found.likeness is not None
    assert found.likeness.correlation > 0.99


def test_a_distorted_sandcastle_names_the_level_that_is_wrong(jungle: Chip) -> None:
    """The burst key comes only to 3.9 V: a load on the line pulls it."""
    found = captured(jungle, "22", lambda volts: np.where(volts > 4.2, 3.9, volts))
    assert "Level burst key: 3.9 V where 5.3 V should be" in found.remarks
    assert found.judged.verdict in ("distorted", "too low")


def test_a_signal_at_another_rate_keeps_its_mean(jungle: Chip) -> None:
    """The mean is over whole periods of the captured signal, not of the expected one."""
    pin = find_pin(jungle, "19")
    waveform = pin.expectation("colour bars").waveform
    t_s = T_S[:4000]  # 2.5 expected periods, 2.25 of its own
    slower_v = waveform.volts(0.9 * t_s + 3.3e-5)
    capture = Capture(t_s, (slower_v,), 4e-8, ("CH1",))
    found = check_capture(jungle, pin, capture, Reading(), DIGITISING)
    dc = next(one for one in found.judged.results if one.expected.quantity == "dc")
    assert dc.value == pytest.approx(waveform.figures.mean_v, rel=1e-3)
    assert abs(slower_v.mean() - waveform.figures.mean_v) > 0.01


def test_a_supply_without_a_waveform_reads_as_the_mean(jungle: Chip) -> None:
    noise_v = np.random.default_rng(7).normal(0, 0.005, len(T_S))
    capture = Capture(T_S, (8.0 + noise_v,), 4e-8, ("CH1",))
    found = check_capture(
        jungle, find_pin(jungle, "7"), capture, Reading(), DIGITISING, "colour bars"
    )
    (dc,) = found.judged.results
    assert dc.expected.quantity == "dc"
    assert dc.value == pytest.approx(8.0, abs=0.001)


def test_upside_down_is_said(jungle: Chip) -> None:
    found = captured(jungle, "13", lambda volts: 2 * volts.mean() - volts)
    assert found.judged.heading == "distorted: inverted"


def test_mains_ripple_is_recognised(jungle: Chip) -> None:
    pin = find_pin(jungle, "18")
    t_s = np.arange(4000) * 2e-5
    volts = 7.9 + 0.5 * np.sin(2 * np.pi * 100 * t_s)
    found = check_capture(
        jungle, pin, Capture(t_s, (volts,), 2e-5, ("CH1",)), Reading(), DIGITISING
    )
    assert any("hum on it" in why for why in found.judged.why)


def test_the_picture_has_both(jungle: Chip) -> None:
    picture = CapturePictures(
        captured(jungle, "22", lambda volts: volts), "compared"
    ).draw_comparison()
    assert picture is not None
    root = ElementTree.fromstring(picture.encode())
    (laid,) = [node for node in root.iter() if node.get("class") == "scope-captured"]
    assert len(laid.get("d", "")) > 1000
    assert "strong edge: captured" in picture


@pytest.fixture
def csv(tmp_path: Path, jungle: Chip) -> Path:
    expectation = find_pin(jungle, "22").expectation("colour bars")
    assert expectation is not None
    path = tmp_path / "sandcastle.csv"
    columns = np.c_[T_S, np.minimum(expectation.volts(T_S), 3.9)]
    np.savetxt(path, columns, delimiter=",", header="time (s),CH1 (V)", comments="")
    return path


def test_from_the_command_line(run: Run, csv: Path, tmp_path: Path) -> None:
    out = tmp_path / "compared.svg"
    told = run("check", "TQZ5752", "22", "--capture", csv, "--svg", out)
    assert told.exit_code == 1
    assert "Level burst key: 3.9 V where 5.3 V should be" in told.stdout
    assert out.read_text(encoding="utf-8").startswith("<?xml")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--channel", "2"), "no channel '2' in this capture; there are: "),
        (("--svg", "/nowhere/x.svg"), "cannot be written"),
    ],
)
def test_what_cannot_be_done(run: Run, csv: Path, arguments: tuple[str, ...], said: str) -> None:
    told = run("check", "TQZ5752", "22", "--capture", csv, *arguments)
    assert (told.exit_code, said in told.stderr) == (2, True)


def test_a_file_that_is_no_capture(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    path.write_text("hello\n", encoding="utf-8")
    told = run("check", "TQZ5752", "22", "--capture", path)
    assert told.exit_code == 2
    assert "x.csv:1" in told.stderr


def test_an_ac_coupled_sandcastle_is_not_blamed_for_its_levels(jungle: Chip) -> None:
    found = captured(jungle, "22", lambda volts: volts - volts.mean())
    assert found.judged.heading == "cannot tell: AC-coupled"


def test_a_line_rate_is_as_sure_as_its_edges_and_the_time_base_tell(jungle: Chip) -> None:
    """Both add as squares, the time base as a half-width over √3 (GUM, 4.3.7 and 5.1.2)."""
    found = captured(jungle, "13", lambda volts: volts)
    assert found.video is not None
    rate = next(one.figure for one in found.video.figures if one.name == "line frequency")
    judged = next(one for one in found.judged.results if one.expected.quantity == "frequency")
    assert judged.value == rate.value
    time_base_hz = DIGITISING.scope.timebase_percent.nominal / 100 / np.sqrt(3) * rate.value
    expected_hz = np.hypot(rate.uncertainty, time_base_hz)
    assert judged.corrected.uncertainty == pytest.approx(expected_hz, rel=1e-9)
