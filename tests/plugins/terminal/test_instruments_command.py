"""``pinfolio instruments``: the list, the shop's own file, and its faults."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import Result
from pinfolio.loaders.shop.instruments_file import EXAMPLE, locate_instruments_file

Run = Callable[..., Result]


@pytest.fixture(autouse=True)
def settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The user's settings, with no instruments of their own; the path they would have."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.setenv("HOME", str(tmp_path))
    return locate_instruments_file()


def test_the_list_says_what_each_does_and_where_own_ones_go(run: Run, settings: Path) -> None:
    listed = run("instruments")
    assert listed.exit_code == 0
    for words in (
        "0.5 % + 2 counts",
        "20 kΩ per volt",
        "2.5 % of full scale",
        "100 MHz, 400 V peak",
        "8 bits, 500 MHz",
    ):
        assert words in listed.stdout
    assert f"Your own can be described in {settings}" in listed.stdout
    assert EXAMPLE in listed.stdout


def test_the_example_works_where_the_list_says(run: Run, settings: Path) -> None:
    settings.parent.mkdir(parents=True, exist_ok=True)
    settings.write_text(EXAMPLE, encoding="utf-8")
    listed = run("instruments").stdout
    assert f"Your own are in {settings}; the file has no faults." in listed
    assert "bench meter" in listed
    assert run("pin", "TQZ5752", "46", "--meter", "Bench Meter").exit_code == 0


def test_json_holds_the_same_instruments(run: Run, settings: Path) -> None:
    document = json.loads(run("instruments", "--json").stdout)
    assert (document["file"], document["there"]) == (str(settings), False)
    assert [one["name"] for one in document["probes"]] == ["x10 probe", "x1 probe", "x100 probe"]
    assert document["scopes"][2]["sample_rate"] == "1 MHz"


def test_another_file_is_checked(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "other.toml"
    path.write_text(EXAMPLE.replace("dc_counts = 3", "dc_counts = 0"), encoding="utf-8")
    listed = run("instruments", "--file", path)
    assert listed.exit_code == 0
    assert "0.05 % + 0 counts" in listed.stdout


def test_faults_end_with_status_2_and_their_lines(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "other.toml"
    path.write_text(EXAMPLE.replace("10 MΩ", "10 MHz"), encoding="utf-8")
    refused = run("instruments", "--file", path)
    assert refused.exit_code == 2
    assert "other.toml:3:1: '10 MHz': expected a resistance" in refused.stderr
    assert refused.stdout == ""


def test_a_file_that_is_not_there(run: Run, tmp_path: Path) -> None:
    refused = run("instruments", "--file", tmp_path / "none.toml")
    assert refused.exit_code == 2
    assert "no such file" in refused.stderr


def test_a_pin_through_instruments_refuses_a_file_with_faults(run: Run, settings: Path) -> None:
    settings.parent.mkdir(parents=True, exist_ok=True)
    settings.write_text("[prob.lead]\n", encoding="utf-8")
    refused = run("pin", "TQZ5752", "46", "--probe", "x1 probe")
    assert refused.exit_code == 2
    assert "1:1: 'prob'" in refused.stderr
    assert run("pin", "TQZ5752", "46").exit_code == 0  # nothing was chosen, nothing is read
