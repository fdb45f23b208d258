"""The JSON Schema of each document that a command prints with ``--json`` or a page serves.

Each document has a file here, named as ``pinfolio schema --of`` names it; ``shared/`` holds what
several of them contain. The number that ends an ``$id`` is the version of the document: within one
version keys are only added.

Source: JSON Schema, draft 2020-12; Core, 9.3.1 for schemas bundled under ``$defs``.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

from ...schema.errors import Unknown
from ...schema.text import find_nearest_word, visible

_FOLDER: Final = Path(__file__).parent
_SHARED: Final = _FOLDER / "shared"
_REFERENCE: Final = re.compile(r"urn:pinfolio:document:([a-z-]+):\d+")


class UnknownDocument(Unknown):
    """No document has this name; the message gives the nearest, or all."""


def list_document_names() -> tuple[str, ...]:
    """Return the names of all documents, in alphabetical order."""
    return tuple(sorted(path.stem for path in _FOLDER.glob("*.json")))


def load_document_schema(name: str) -> dict[str, Any]:
    """Return the JSON Schema of a document, complete in itself. Raises UnknownDocument."""
    names = list_document_names()
    if name not in names:
        nearest = find_nearest_word(name, names)
        hint = f"did you mean {nearest!r}?" if nearest else f"there are {', '.join(names)}."
        raise UnknownDocument(f"no document {visible(name)!r}; {hint}")
    schema = _read(_FOLDER / f"{name}.json")
    shared = _collect_shared(schema)
    return schema | ({"$defs": shared} if shared else {})


def _collect_shared(schema: dict[str, Any]) -> dict[str, Any]:
    """Return the shared schemas that a schema refers to, also through others, by name."""
    shared: dict[str, Any] = {}
    names = list(_list_references(schema))
    while names:
        name = names.pop()
        if name not in shared:
            shared[name] = _read(_SHARED / f"{name}.json")
            names += _list_references(shared[name])
    return dict(sorted(shared.items()))


def _list_references(node: Any) -> Iterator[str]:
    """Yield the name in every ``$ref`` of a schema."""
    if isinstance(node, list):
        for item in node:
            yield from _list_references(item)
    elif isinstance(node, dict):
        reference = _REFERENCE.fullmatch(str(node.get("$ref", "")))
        if reference:
            yield reference[1]
        for value in node.values():
            yield from _list_references(value)


def _read(path: Path) -> dict[str, Any]:
    schema = json.loads(path.read_text(encoding="utf-8"))
    assert isinstance(schema, dict)
    return schema
