"""The base of every model of the schema, and the small field types they share."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Annotated, Any, Self

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StringConstraints,
    WithJsonSchema,
)
from pydantic_core import PydanticCustomError


class Model(BaseModel):
    """Base of every model: strict, closed and frozen; an unknown key or wrong type is refused."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        strict=True,
        validate_default=True,
        defer_build=True,
    )

    def model_copy(self, *, update: Mapping[str, Any] | None = None, deep: bool = False) -> Self:
        """Return a copy with some fields changed; values computed from fields are not copied."""
        copy = super().model_copy(update=update, deep=deep)
        for name in copy.__dict__.keys() - type(self).model_fields.keys():
            del copy.__dict__[name]
        return copy


def build_models() -> None:
    """Build every imported model now; otherwise a model is built when it is first used.

    For a server: before version 2.14 of pydantic two threads could meet over one half built.
    """
    built: set[type[Model]] = set()
    while unbuilt := _list_models(Model) - built:  # building one may import others
        for model in unbuilt:
            model.model_rebuild()
        built |= unbuilt


def _list_models(base: type[Model]) -> set[type[Model]]:
    """Return a model and every model derived from it."""
    return {base}.union(*map(_list_models, base.__subclasses__()))


def _read_whole(value: Any) -> Any:
    """Return a whole number, which a chip file gives as digits; raise for anything else."""
    if type(value) is int:  # by far the most, and no bool
        return value
    if isinstance(value, str) and re.fullmatch(r"[0-9]{1,9}", value.strip()):
        return int(value)
    raise PydanticCustomError("whole_number", "expected a whole number such as 12")


def _read_yes_no(value: Any) -> Any:
    """Return the truth value of yes, no, true or false; raise for anything else."""
    words = {"yes": True, "true": True, "no": False, "false": False}
    if isinstance(value, str) and value.strip().lower() in words:
        return words[value.strip().lower()]
    if not isinstance(value, bool):
        raise PydanticCustomError("yes_no", "expected yes or no")
    return value


def _to_tuple(value: Any) -> Any:
    """Return a list, as YAML and JSON give it, as the tuple that a frozen model holds."""
    return tuple(value) if isinstance(value, list) else value


Whole = Annotated[int, BeforeValidator(_read_whole), WithJsonSchema({"type": "integer"})]
YesNo = Annotated[bool, BeforeValidator(_read_yes_no), WithJsonSchema({"type": "boolean"})]
Text = Annotated[str, StringConstraints(min_length=1, max_length=2000, strip_whitespace=True)]
Word = Annotated[str, StringConstraints(min_length=1, max_length=80, strip_whitespace=True)]
Identifier = Annotated[
    str, StringConstraints(pattern=r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$", max_length=40)
]
Listed = BeforeValidator(_to_tuple)
Endpoint = Annotated[
    str,
    StringConstraints(pattern=r"^(pin [1-9][0-9]*|[a-z][a-z0-9]*(-[a-z0-9]+)*)$", max_length=40),
    Field(examples=["pin 9", "sync-separator", "ground"]),
]


def pin_number(endpoint: str) -> int | None:
    """Return the pin number of an endpoint (``pin 9`` -> 9), or None for a block or a node."""
    return int(endpoint[4:]) if endpoint.startswith("pin ") else None
