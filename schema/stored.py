"""Read back a model that this program validated before it stored it.

Building the validators of a chip takes longer than all else that ``pinfolio pin`` does. A stored
document has passed them, and the seal of its folio shows that it has not changed since: only its
keys, the types of its values and its quantities are checked again.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache, partial
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, TypeVar, Union, get_args, get_origin

from .model import Model

AnyModel = TypeVar("AnyModel", bound=Model)
Reader = Callable[[Any], Any]


def read_stored(model: type[AnyModel], document: Any) -> AnyModel:
    """Return the model whose ``document()``, as loaded from JSON, this is.

    It equals ``model.model_validate(document)``. Raises ValueError for a document that no version
    of this program has written.
    """
    readers, defaults = _find_readers(model)
    if unknown := _read_plain(dict, document).keys() - readers.keys():
        raise ValueError(f"{model.__name__} has no field {min(unknown)}")
    if missing := readers.keys() - defaults.keys() - document.keys():
        raise ValueError(f"{model.__name__} lacks its field {min(missing)}")
    values = {key: readers[key](value) for key, value in document.items()}
    return model.model_construct({*values}, **(defaults | values))


@cache
def _find_readers(model: type[Model]) -> tuple[dict[str, Reader], dict[str, Any]]:
    """Return the reader of each field of a model, and the defaults, which are immutable."""
    fields = model.model_fields
    readers = {
        name: _find_reader(field.annotation, tuple(field.metadata))
        for name, field in fields.items()
    }
    return readers, {
        name: field.get_default() for name, field in fields.items() if not field.is_required()
    }


def _find_reader(sort: Any, marks: tuple[Any, ...] = ()) -> Reader:
    """Return the function that makes the value of a field of this type from its JSON."""
    origin: Any = get_origin(sort)
    if origin is Annotated:
        plain, *more = get_args(sort)
        return _find_reader(plain, (*marks, *more))
    for mark in marks:
        if (parse := getattr(mark, "parse", None)) is not None:
            return partial(_read_quantity, parse)
        if (models := getattr(mark, "models", None)) is not None:
            return partial(_read_by_kind, models)
    if origin in (Union, UnionType):  # an optional value; no other union is a field's type
        (plain,) = (one for one in get_args(sort) if one is not NoneType)
        return partial(_read_optional, _find_reader(plain))
    if origin is tuple:
        return _find_tuple_reader(get_args(sort))
    if origin is Literal:
        return partial(_read_plain, str)
    return partial(read_stored if issubclass(sort, Model) else _read_plain, sort)


def _find_tuple_reader(items: tuple[Any, ...]) -> Reader:
    """Return the reader of a tuple: of one type and any length, or of a type at each place."""
    if items[1:] == (...,):
        return partial(_read_all, _find_reader(items[0]))
    return partial(_read_each, tuple(map(_find_reader, items)))


def _read_quantity(parse: Callable[[str], Any], text: Any) -> Any:
    return parse(_read_plain(str, text))


def _read_plain(sort: type, value: Any) -> Any:
    if type(value) is not sort:
        raise ValueError(f"{value!r:.40} is no {sort.__name__}")
    return value


def _read_optional(read: Reader, value: Any) -> Any:
    return None if value is None else read(value)


def _read_by_kind(models: Mapping[str, type[Model]], document: Any) -> Model:
    kind = _read_plain(str, _read_plain(dict, document).get("kind"))
    if kind not in models:
        raise ValueError(f"{kind!r:.40} is no kind; the kinds are {', '.join(models)}")
    return read_stored(models[kind], document)


def _read_all(read: Reader, values: Any) -> tuple[Any, ...]:
    return tuple(map(read, _read_plain(list, values)))


def _read_each(readers: tuple[Reader, ...], values: Any) -> tuple[Any, ...]:
    if len(_read_plain(list, values)) != len(readers):
        raise ValueError(f"{len(values)} values in place of {len(readers)}")
    return tuple(read(value) for read, value in zip(readers, values, strict=True))
