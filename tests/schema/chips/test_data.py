"""The chip as a model: strict, closed, frozen, and the same again after a round trip."""

from __future__ import annotations

from itertools import chain
from typing import Any

import pytest
from pinfolio.schema import Chip
from pinfolio.schema.file_format.field_docs import read_field_docs
from pinfolio.schema.model import Model, build_models
from pydantic import BaseModel, ValidationError

from ...demo_chips import DEMO

CHIPS = [*DEMO.values()]


@pytest.fixture
def document() -> dict[str, Any]:
    return CHIPS[0].model_dump(mode="json")


@pytest.mark.parametrize("chip", CHIPS, ids=lambda chip: chip.part)
def test_a_round_trip_changes_nothing(chip: Chip) -> None:
    assert Chip.model_validate(chip.model_dump(mode="json")) == chip
    assert Chip.model_validate_json(chip.model_dump_json()) == chip


@pytest.mark.parametrize("place", [(), ("pins", 0), ("supplies", 0), ("package",)])
def test_an_unknown_key_is_refused_anywhere(document: dict[str, Any], place: tuple[Any]) -> None:
    inner: Any = document
    for step in place:
        inner = inner[step]
    inner["colour"] = "grey"
    with pytest.raises(ValidationError, match="colour"):
        Chip.model_validate(document)


@pytest.mark.parametrize(
    ("key", "value"),
    [("part", 5752), ("kind", "tube"), ("invented", 1), ("pins", {}), ("maker", "")],
)
def test_a_wrong_sort_of_value_is_refused(document: dict[str, Any], key: str, value: Any) -> None:
    with pytest.raises(ValidationError, match=key):
        Chip.model_validate(document | {key: value})


def test_a_chip_does_not_change() -> None:
    with pytest.raises(ValidationError, match="frozen"):
        CHIPS[0].part = "OTHER"


def test_pins_go_by_number_and_symbol() -> None:
    chip = CHIPS[0]
    assert chip.pin(1) is chip.pin("1") is chip.pin(chip.pins[0].symbol.lower())
    assert chip.pin(0) is None


def test_a_number_goes_before_a_symbol_that_looks_like_one(document: dict[str, Any]) -> None:
    document["pins"][0]["symbol"] = "3"
    chip = Chip.model_validate(document)
    assert chip.pin("3") is chip.pins[2]


def test_models_wait_until_they_are_used_or_all_are_built() -> None:
    class Waiting(Model):
        name: str

    assert not Waiting.__pydantic_complete__
    build_models()
    assert all(
        model.__pydantic_complete__ for model in (Waiting, Chip, *list_models_below(Chip, set()))
    )


def list_models_below(model: type[BaseModel], seen: set[type[BaseModel]]) -> set[type[BaseModel]]:
    if model not in seen:
        seen.add(model)
        for field in model.model_fields.values():
            for inner in _list_models_in(field.annotation):
                list_models_below(inner, seen)
    return seen


def _list_models_in(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    by_kind = [
        mark.models.values()
        for mark in getattr(annotation, "__metadata__", ())
        if hasattr(mark, "models")
    ]
    inner = (*getattr(annotation, "__args__", ()), *chain.from_iterable(by_kind))
    return [m for a in inner for m in _list_models_in(a)]


def test_every_field_of_every_model_says_what_it_means() -> None:
    silent = [
        f"{model.__name__}.{name}"
        for model in list_models_below(Chip, set())
        for name in model.model_fields
        if name not in read_field_docs(model) and name != "kind"
    ]
    assert silent == []
