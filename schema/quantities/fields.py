"""Model fields that hold a quantity in one unit, written in a chip file as people write it."""

from __future__ import annotations

from typing import Annotated, Any, Final

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import PydanticCustomError, core_schema

from .any_unit import parse_quantity_of_any_unit
from .errors import QuantityError
from .quantity import Quantity, parse_quantity
from .units import UNITS


class _QuantityOf:
    """Pydantic annotation: the field holds a Quantity in one unit, written as text."""

    def __init__(self, unit: str | None) -> None:
        self.unit = unit
        """The unit; None if the text of each value tells it."""

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(
            self._validate,
            serialization=core_schema.plain_serializer_function_ser_schema(
                lambda quantity: quantity.text
            ),
        )

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        if self.unit is None:
            called = "Quantity with its unit, as people write it."
            return {"type": "string", "description": called, "examples": [_ANY_EXAMPLE]}
        called, example = UNITS[self.unit]
        unitless: JsonSchemaValue = {"type": ["string", "integer"]}  # the capacitor mark 104
        with_unit: JsonSchemaValue = {"type": "string", "pattern": "[^-+.0-9eE ]"}
        return {
            **(unitless if self.unit == "F" else with_unit),
            "description": f"{called[0].upper()}{called[1:]} in {self.unit}, as people write it.",
            "examples": [example],
        }

    def parse(self, text: str) -> Quantity:
        """Return the text as a quantity of this field; raise QuantityError."""
        if self.unit is None:
            return parse_quantity_of_any_unit(text)
        return parse_quantity(text, self.unit)

    def _validate(self, value: Any) -> Quantity:
        """Return the quantity; raise the error of pydantic that names the right spelling."""
        if isinstance(value, Quantity) and self.unit in (None, value.unit):
            return value
        try:
            return self.parse(str(value))
        except QuantityError as refusal:
            raise describe_refusal(refusal) from None


def describe_refusal(refusal: QuantityError, key: str | None = None) -> PydanticCustomError:
    """Return the error of pydantic for a text that is no quantity.

    ``key`` is the key of the text where a whole model reports it.
    """
    return PydanticCustomError(
        "quantity",
        "expected {expected}" + ("" if refusal.write is None else "; write '{write}'"),
        {
            "found": refusal.found,
            "expected": refusal.expected,
            "write": refusal.write,
            "key": key,
        },
    )


_ANY_EXAMPLE: Final = "min 7.2 V typ 8 V max 8.8 V"

Voltage = Annotated[Quantity, _QuantityOf("V")]
PeakToPeak = Annotated[Quantity, _QuantityOf("Vpp")]
Current = Annotated[Quantity, _QuantityOf("A")]
Resistance = Annotated[Quantity, _QuantityOf("Ω")]
Capacitance = Annotated[Quantity, _QuantityOf("F")]
Inductance = Annotated[Quantity, _QuantityOf("H")]
Frequency = Annotated[Quantity, _QuantityOf("Hz")]
Duration = Annotated[Quantity, _QuantityOf("s")]
Power = Annotated[Quantity, _QuantityOf("W")]
Length = Annotated[Quantity, _QuantityOf("m")]
Percent = Annotated[Quantity, _QuantityOf("%")]
Angle = Annotated[Quantity, _QuantityOf("°")]
AnyQuantity = Annotated[Quantity, _QuantityOf(None)]
