"""The type of each place in a chip file, read from the models: its keys and its unit."""

from __future__ import annotations

from collections.abc import Iterator
from types import UnionType
from typing import Annotated, Any, Final, Union, get_args, get_origin

from ..chip import Chip
from ..quantities.any_unit import find_unit_in

Sort = Any
"""The type of a place, as the annotation of a model's field; None if nothing is known."""

WHOLE_FILE: Final[Sort] = Chip


def list_keys(sort: Sort, kind: str | None = None) -> tuple[str, ...]:
    """Return the keys of a map of this type, in the order of the model; empty if it is not a map.

    ``kind`` is the word under the map's own ``kind``, which tells a waveform from the others.
    """
    model = _find_model(sort, kind)
    return tuple(model.model_fields) if model is not None else ()


def step_into(sort: Sort, step: str | int, kind: str | None = None) -> Sort:
    """Return the type one step further in: under a key of a map, or at an index of a list."""
    if isinstance(step, str):
        field = getattr(_find_model(sort, kind), "model_fields", {}).get(step)
        return None if field is None else Annotated[field.annotation, *field.metadata, None]
    for plain, _ in _unwrap(sort):
        items = get_args(plain) if get_origin(plain) is tuple else ()
        if items[1:] == (...,):
            return items[0]
        if step < len(items):
            return items[step]
    return None


def find_unit(sort: Sort, text: str = "") -> str | None:
    """Return the unit of the quantity of this type, or None if it is not a quantity.

    Where the unit is free, it is the one that ``text`` names.
    """
    for _, marks in _unwrap(sort):
        for mark in marks:
            if hasattr(mark, "unit"):
                return find_unit_in(text) if mark.unit is None else str(mark.unit)
    return None


def is_model(sort: Sort, *models: type) -> bool:
    """Return True if exactly one of these models belongs here."""
    return any(plain in models for plain, _ in _unwrap(sort))


def _find_model(sort: Sort, kind: str | None) -> Any:
    """Return the model that belongs here; among waveforms the one of this kind."""
    models = [plain for plain, _ in _unwrap(sort) if hasattr(plain, "model_fields")]
    if len(models) < 2:
        return models[0] if models else None
    return next((m for m in models if kind in get_args(m.model_fields["kind"].annotation)), None)


def _unwrap(sort: Sort, marks: tuple[Any, ...] = ()) -> Iterator[tuple[Any, tuple[Any, ...]]]:
    """Yield each plain type that is allowed here, with its annotations."""
    origin: Any = get_origin(sort)
    if origin is Annotated:
        plain, *more = get_args(sort)
        by_kind = next((mark.models for mark in more if hasattr(mark, "models")), None)
        for one in (plain,) if by_kind is None else by_kind.values():
            yield from _unwrap(one, (*marks, *more))
    elif origin in (Union, UnionType):
        for one in get_args(sort):
            yield from _unwrap(one, marks)
    else:
        yield sort, marks
