"""`pinfolio capture` against a simulated instrument (pyvisa-sim)."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from pinfolio.loaders.captures.capture_file import read_capture
from pinfolio.plugins.terminal.cli import main

SIMULATED = Path(__file__).parents[2] / "loaders/captures/quellwald.yaml"
ADDRESS = "TCPIP::192.0.2.7::INSTR"


@pytest.fixture(autouse=True)
def _simulated(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYVISA_LIBRARY", f"{SIMULATED}@sim")


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["capture", "TQZ5752", "22", *map(str, arguments)])


def test_the_record_is_judged_and_its_settings_are_printed() -> None:
    result = run("--from", ADDRESS, "--channel", 2)
    assert result.exit_code == 1, result.output
    words = " ".join(result.output.split())
    assert "Read: 8 samples, 40 ns apart, from -160 ns; CH2 50 mV to 400 mV" in words
    assert "Read from Quellwald QW-120: AC coupled, 200 mV and 20 µs per division" in words


def test_json_holds_the_record() -> None:
    document = json.loads(run("--from", ADDRESS, "--json").output)
    assert document["capture"]["record"]["interval_s"] == pytest.approx(40e-9)


def test_a_saved_record_is_read_again(tmp_path: Path) -> None:
    path = tmp_path / "record.csv"
    run("--from", ADDRESS, "--save", path)
    capture = read_capture(path.read_bytes(), "record.csv")
    assert capture.channels[0].max() == 0.4
    result = run("--from", ADDRESS, "--save", path)
    assert (result.exit_code, "exists already" in result.stderr) == (2, True)


def test_nothing_is_saved_where_nobody_answers(tmp_path: Path) -> None:
    path = tmp_path / "record.csv"
    result = run("--from", "TCPIP::192.0.2.8::INSTR", "--save", path)
    assert (result.exit_code, path.exists()) == (2, False)
    assert "192.0.2.8" in result.stderr
