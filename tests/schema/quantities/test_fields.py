"""Model fields that hold a quantity: read from text, refused with a fix, written back."""

from __future__ import annotations

import pytest
from pinfolio.schema.model import Model
from pinfolio.schema.quantities import Quantity
from pinfolio.schema.quantities.fields import Capacitance, Voltage
from pydantic import ValidationError


class Part(Model):
    """A model with two quantities."""

    rating: Voltage
    value: Capacitance | None = None


def test_a_text_becomes_a_quantity_and_is_written_back_as_it_was() -> None:
    part = Part.model_validate({"rating": "50volt", "value": 104})
    assert (part.rating.nominal, part.rating.unit) == (50.0, "V")
    assert part.value is not None
    assert part.value.nominal == pytest.approx(100e-9)
    assert part.model_dump(mode="json") == {"rating": "50volt", "value": "104"}


def test_a_quantity_is_taken_as_it_is_if_its_unit_is_right() -> None:
    rating = Quantity("V", 50.0)
    assert Part.model_validate({"rating": rating}).rating is rating
    with pytest.raises(ValidationError, match="expected a voltage in V"):
        Part.model_validate({"rating": Quantity("F", 1e-7)})


def test_another_text_is_refused_with_the_right_spelling() -> None:
    with pytest.raises(ValidationError) as refused:
        Part.model_validate({"rating": "50"})
    (error,) = refused.value.errors()
    assert error["type"] == "quantity"
    assert error["msg"] == "expected a voltage in V, with its unit; write '50 V'"
    assert error["ctx"]["found"] == "50"


def test_the_json_schema_asks_for_a_unit_where_one_is_needed() -> None:
    """A capacitor may be marked 104, a number; nothing else goes without its unit."""
    properties = Part.model_json_schema()["properties"]
    assert properties["rating"]["pattern"]
    assert properties["rating"]["examples"] == ["4.2 V"]
    (value, _) = properties["value"]["anyOf"]
    assert value["type"] == ["string", "integer"]
    assert "pattern" not in value
