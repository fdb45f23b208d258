"""Parameters on the sheet and on the cards of their pins: in words, with limits and source."""

from __future__ import annotations

from pinfolio.plugins.cards.chip_sheet import build_chip_sheet
from pinfolio.plugins.cards.pin_card import build_pin_card
from pinfolio.plugins.cards.stated_parameters import state_parameters
from pinfolio.schema import Chip

SOURCE = {"id": "sheet", "page": 7, "note": "row 12"}
LEVEL = {
    "name": "key level", "symbol": "V2", "pins": [2], "value": "min 7.2 V typ 8 V max 8.8 V",
    "test_condition": "no load", "note": "Footnote 1", "source": SOURCE,
}  # fmt: skip
CURRENT = {"name": "supply current", "supply": "VCC", "value": "typ 40 mA", "source": SOURCE}
WHOLE = {"name": "dissipation", "value": "max 1 W", "source": SOURCE}


def add_parameters(chip: Chip) -> Chip:
    document = chip.model_dump(mode="json", exclude_none=True, exclude_defaults=True)
    return Chip.model_validate(document | {"parameters": [LEVEL, CURRENT, WHOLE]})


def test_a_parameter_in_words(chip: Chip) -> None:
    made = add_parameters(chip)
    level, current, whole = state_parameters(made, made.parameters)
    assert level.sentence == (
        "key level, V2: min 7.2 V typ 8 V max 8.8 V; no load; Footnote 1 (sheet, page 7, row 12)"
    )
    assert level.source_words == "data sheet, Sheet, revision B, page 7, row 12"
    places = [each.place_words for each in (level, current, whole)]
    assert places == ["pin 2", "supply VCC", "whole chip"]


def test_the_card_of_a_pin_has_its_own_and_those_of_its_supply(chip: Chip) -> None:
    made = add_parameters(chip)
    names = {
        pin.number: [stated.parameter.name for stated in build_pin_card(made, pin).parameters]
        for pin in made.pins
    }
    assert {number: found for number, found in names.items() if found} == {
        2: ["key level"],
        8: ["supply current"],
    }


def test_the_documents_give_limits_in_the_unit_without_prefix(chip: Chip) -> None:
    made = add_parameters(chip)
    documents = build_chip_sheet(made).document()["parameters"]
    assert [(d["min"], d["typ"], d["max"], d["unit"]) for d in documents] == [
        (7.2, 8.0, 8.8, "V"),
        (None, 0.04, None, "A"),
        (None, None, 1.0, "W"),
    ]
    assert documents[0]["pins"] == [2]
    assert documents[1]["supply"] == "VCC"
