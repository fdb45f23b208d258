"""The documentation of a model's fields: the strings under them in its source.

Pydantic can read them too (``use_attribute_docstrings``), but it parses the source of every model
at each import. Here they are read only when the models are described.
"""

from __future__ import annotations

import ast
import inspect

from ..model import Model


def read_field_docs(model: type[Model]) -> dict[str, str]:
    """Return the docstring of each field that has one; a redefined field loses the older one."""
    docs: dict[str, str | None] = {}
    for owner in reversed(model.__mro__):
        if issubclass(owner, Model):
            docs |= _read_source(owner)
    return {name: meaning for name, meaning in docs.items() if meaning is not None}


def _read_source(model: type[Model]) -> dict[str, str | None]:
    """Return the fields in the source of the model itself, each with the string under it."""
    (body,) = ast.parse(inspect.getsource(model)).body
    assert isinstance(body, ast.ClassDef)
    docs: dict[str, str | None] = {}
    for statement, below in zip(body.body, [*body.body[1:], None], strict=True):
        match statement:
            case ast.AnnAssign(target=ast.Name(id=name)):
                docs[name] = _read_string(below)
    return docs


def _read_string(statement: ast.stmt | None) -> str | None:
    match statement:
        case ast.Expr(value=ast.Constant(value=str(text))):
            return inspect.cleandoc(text)
    return None
