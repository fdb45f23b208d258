"""Gaps of a chip file are guessed, and a statement takes the place of a guess."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import yaml
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip, read_chip
from pinfolio.plugins.contributing.guesses import GUESSED_FROM, list_guesses
from pinfolio.plugins.contributing.lint import lint_file
from pinfolio.schema import Chip
from pinfolio.schema.rules import EXAMPLE_CHIP


def with_statements(**changed: Any) -> Chip:
    """Return the example of the rule book with keys of its pins (``pin_4``) or tables changed."""
    document = yaml.safe_load(EXAMPLE_CHIP)
    for key, value in changed.items():
        if key.startswith("pin_"):
            document["pins"][int(key[4:]) - 1].update(value)
        else:
            document[key] = value
    return read_chip(yaml.safe_dump(document, allow_unicode=True).encode(), "example")


def guesses(chip: Chip) -> dict[tuple[str, str], str]:
    return {(guess.key, guess.at): guess.taken for guess in list_guesses(chip)}


def test_the_example_leaves_the_kind_of_its_stage_and_the_limits_of_its_output() -> None:
    assert guesses(with_statements()) == {
        ("kind", "amplifier"): "amplifier",
        ("output_limits", "pin 4 OUT"): "0 V to 8 V",
    }


@pytest.mark.parametrize(
    ("key", "at", "taken", "left_out", "stated"),
    [
        ("threshold", "pin 3 IN", "1.8 V",
         {"pin_3": {"function": "select input: above 1.8 V source B"}},
         {"pin_3": {"function": "select input: above 1.8 V source B", "threshold": "1.8 V"}}),
        ("gated_by", "clamp", "pin 3",
         {"pin_3": {"function": "sandcastle input"},
          "blocks": [{"id": "clamp", "name": "clamp", "inputs": ["pin 4", "pin 3"]}]},
         {"pin_3": {"function": "sandcastle input"},
          "blocks": [{"id": "clamp", "name": "clamp", "inputs": ["pin 4", "pin 3"],
                      "gated_by": ["pin 3"]}]}),
        ("lock_range", "vco", "usual for resistor and capacitor",
         {"blocks": [{"id": "apc", "name": "phase detector", "outputs": ["pin 4"]},
                     {"id": "vco", "name": "oscillator", "inputs": ["pin 4"]}]},
         {"blocks": [{"id": "apc", "name": "phase detector", "outputs": ["pin 4"]},
                     {"id": "vco", "name": "oscillator", "inputs": ["pin 4"],
                      "lock_range": "2 kHz"}]}),
        ("output_limits", "pin 4 OUT", "0 V to 8 V", {},
         {"pin_4": {"output_limits": {"low": "0.2 V", "high": "7.2 V"}}}),
    ],
)  # fmt: skip
def test_a_statement_takes_the_place_of_the_guess(
    key: str, at: str, taken: str, left_out: dict[str, Any], stated: dict[str, Any]
) -> None:
    assert guesses(with_statements(**left_out))[key, at] == taken
    assert (key, at) not in guesses(with_statements(**stated))


def test_an_input_that_is_all_a_stage_has_is_no_key() -> None:
    one = [{"id": "detector", "name": "sandcastle detector", "inputs": ["pin 3"]}]
    found = guesses(with_statements(pin_3={"function": "sandcastle input"}, blocks=one))
    assert ("gated_by", "detector") not in found


def test_a_supply_is_guessed_only_where_the_stages_do_not_tell_it() -> None:
    """Pin 4 lives on pin 1, which its stage needs; no stage tells the supply of pin 3."""
    changed: dict[str, Any] = {
        "supplies": [
            {"name": "VCC", "pins": [1], "voltage": "8 V"},
            {"name": "VP", "pins": [5], "voltage": "8 V"},
        ],
        "package": {"family": "SIP", "pins": 5},
        "blocks": [
            {"id": "amplifier", "name": "amplifier", "outputs": ["pin 4"], "needs": ["pin 1"]}
        ],
    }
    document = yaml.safe_load(EXAMPLE_CHIP) | changed
    more = {"number": 5, "symbol": "VP", "function": "supply", "role": "supply"}
    document["pins"] = [*document["pins"], more]
    chip = read_chip(yaml.safe_dump(document, allow_unicode=True).encode(), "example")
    found = guesses(chip)
    assert found["supply", "pin 3 IN"] == "pin 1"
    assert ("supply", "pin 4 OUT") not in found


def test_the_drive_of_another_chip_is_not_taken_for_a_product_of_this_one() -> None:
    chip = load_chip(next(path for path in chip_files() if path.stem == "tqz3609"))
    assert not [guess for guess in list_guesses(chip) if guess.key == "made_by"]


@pytest.mark.parametrize("path", chip_files(), ids=lambda path: path.stem)
def test_the_demo_states_all_that_its_sheets_would_say(path: Path) -> None:
    assert list_guesses(load_chip(path)) == ()


def test_lint_lists_the_guesses_in_the_order_of_their_keys(tmp_path: Path) -> None:
    path = tmp_path / "chip.yaml"
    path.write_text(EXAMPLE_CHIP, encoding="utf-8")
    found = lint_file(path).document()["guesses"]
    assert found[0] == {"key": "kind", "at": "amplifier", "taken": "amplifier"}
    assert [one["key"] for one in found] == sorted(
        (one["key"] for one in found), key=[*GUESSED_FROM].index
    )
