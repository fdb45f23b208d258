"""The hunt question by question, as somebody plays it at the bench."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from pinfolio.loaders.shop.note_files import load_own_notes
from pinfolio.loaders.shop.shop_folder import Shop
from pinfolio.plugins.terminal.cli import main

Play = Callable[..., Result]


@pytest.fixture
def play(demo_path: Path, monkeypatch: pytest.MonkeyPatch) -> Play:
    """``pinfolio faultfind`` with options, and lines that are typed."""
    monkeypatch.setenv("PINFOLIO_FOLIO", str(demo_path))

    def played(*lines: str, options: tuple[str, ...] = ()) -> Result:
        typed = "".join(f"{line}\n" for line in lines)
        return CliRunner().invoke(main, ["faultfind", *options], input=typed)

    return played


def test_from_no_colour_to_the_proved_capacitor_and_the_note(play: Play, shop: Shop) -> None:
    """The crystal's pin jumps about 1 MHz, the crystal itself runs right: its capacitor is open."""
    told = play(
        "KYE4728",
        "black and white",
        "4 freq=1.05MHz jumping",
        "crystal-node freq=ok",
        "C406: open",
        "",
        "New C406, C0G",
        "y",
    )
    assert told.exit_code == 0, told.output
    assert "C406, 22p capacitor proved bad" in told.output or "C406 proved bad" in told.output
    assert "C406: fit 22p capacitor, 5 % or better, C0G" in " ".join(told.output.split())
    asked = "Fit it, switch on, and read again; these must then be right:\n"
    assert f"{asked}  frequency at pin 4 XTAL: 4.4336 MHz" in told.output
    (kept,) = load_own_notes(shop)
    assert (kept.part, kept.failure, kept.cure) == ("C406", "open", "New C406, C0G")
    assert kept.proof == "out of circuit: open"


def test_an_answer_is_about_the_place_that_was_asked(play: Play) -> None:
    told = play("KYE4728", "no color", "4.3", "")
    question = told.output[told.output.rindex("an empty line ends.") :].splitlines()[1]
    place = question.split(" at ")[1].split(":")[0]
    assert f"dc=4.3   {place}: as expected" in told.output


def test_undo_why_and_what_is_not_understood(play: Play) -> None:
    told = play("KYE4728", "9", "why", "flooby", "undo", "4 none", "undo", "")
    assert "then most likely" in told.output
    assert "'flooby': expected a voltage" in told.output
    assert "There is no reading to take back." in told.output


def test_a_chip_or_symptom_that_is_not_there_is_asked_again(play: Play) -> None:
    told = play("KYE4729", "KYE4728", "smells odd", "snow, no colour", "")
    assert "no chip 'KYE4729'" in told.output
    assert "no symptom 'smells odd'" in told.output
    assert "KYE4728, colour bars: snow; no colour" in told.output


def test_a_chip_is_needed_beside_other_options(play: Play) -> None:
    assert "Name the chip" in play(options=("--reading", "4 none")).output


def test_nothing_speaks_of_how_it_is_worked_out(play: Play) -> None:
    told = play("KYE4728", "no colour", "why", "skip", "").output.casefold()
    assert not [word for word in ("bits", "effort", "hypothes", "weigh") if word in told]
