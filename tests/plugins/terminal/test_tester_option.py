"""``pinfolio pin --tester``: the figures in words, in JSON and as a picture."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import Result
from pinfolio.plugins.instruments import component_tester
from pinfolio.schema.measuring.tester_figure import Drive

Run = Callable[..., Result]
TESTER = ("--tester", "component tester")


def test_the_card_ends_with_the_figures_safety_first(run: Run) -> None:
    card = run("pin", "MDQ3724", "11", *TESTER)
    assert card.exit_code == 0
    view = " ".join(card.stdout.partition("Set off, with component tester")[2].split())
    assert view.startswith("Mind Only with the set off, the plug out")
    assert "hot lead on the pin: two corners, at −600 mV and +4.7 V" in view
    assert "ZD301" in view


def test_without_the_option_there_is_none(run: Run) -> None:
    assert "tester" not in run("pin", "MDQ3724", "11").stdout
    assert "tester" not in json.loads(run("pin", "MDQ3724", "11", "--json").stdout)


def test_json_and_picture_hold_the_same_figure(run: Run, tmp_path: Path) -> None:
    picture = tmp_path / "figure.svg"
    answer = run("pin", "MDQ3724", "11", *TESTER, "--json", "--svg", picture)
    words = json.loads(answer.stdout)["tester"]["pin"]["words"]
    assert words in picture.read_text(encoding="utf-8")


def test_another_name_is_refused_with_those_there_are(run: Run) -> None:
    refused = run("pin", "MDQ3724", "11", "--tester", "curve")
    assert refused.exit_code != 0
    assert "no component tester 'curve'; there are: component tester," in refused.stderr


def test_no_figure_no_picture(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def look(*around: Any) -> component_tester.SetOffView:
        return component_tester.SetOffView(*around[2:], Drive(8.5, 1e3, 50.0), None, (), (), ())

    monkeypatch.setattr(component_tester, "view_with_tester", look)
    path = tmp_path / "none.svg"
    answer = run("pin", "TQZ5752", "1", *TESTER, "--svg", path)
    assert answer.exit_code == 1
    assert "TQZ5752 pin 1 SCL: no figure of the tester is known" in answer.stderr
    assert not path.exists()


def test_without_a_name_it_is_the_usual_one_of_the_shop(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert "Set off, with component tester" in run("pin", "MDQ3724", "11", "--tester").stdout
    shop = tmp_path / "shop"
    started = run("shop", "init", shop, "--handle", "bench", "--tester", "low-voltage tester")
    assert started.exit_code == 0, started.output
    monkeypatch.setenv("PINFOLIO_SHOP", str(shop))
    chosen = run("pin", "MDQ3724", "11", "--tester")
    assert "Set off, with low-voltage tester" in chosen.stdout


def test_a_shop_is_begun_only_with_a_tester_that_there_is(run: Run, tmp_path: Path) -> None:
    refused = run("shop", "init", tmp_path / "shop", "--handle", "bench", "--tester", "curve")
    assert "no component tester 'curve'" in refused.stderr
    assert not (tmp_path / "shop").exists()
