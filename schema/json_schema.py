"""The chip file described as JSON Schema, for editors that check and complete while one types.

Source: JSON Schema, draft 2020-12. Editors read YAML their own way: an unquoted ``3`` is a number
to them and ``yes`` a text or a truth value, where a chip file takes either as written.
"""

from __future__ import annotations

from typing import Any

from .chip import Chip

_DIALECT = "https://json-schema.org/draft/2020-12/schema"


def chip_json_schema() -> dict[str, Any]:
    """The JSON Schema of a chip file; every key with its meaning, quantities with an example."""
    schema = _as_editors_read(Chip.model_json_schema(mode="validation"))
    assert isinstance(schema, dict)
    return {"$schema": _DIALECT, **schema, "title": "pinfolio chip file"}


def _as_editors_read(node: Any) -> Any:
    """The same schema, open to the types that an editor's YAML reader makes of plain scalars."""
    if isinstance(node, list):
        return [_as_editors_read(item) for item in node]
    if not isinstance(node, dict):
        return node
    opened = {key: _as_editors_read(value) for key, value in node.items()}
    free_text = "enum" not in node and "const" not in node and "pattern" not in node
    if node.get("type") == "string" and free_text:
        opened["type"] = ["string", "number"]
    if node.get("type") == "boolean":
        del opened["type"]
        opened["enum"] = [True, False, "yes", "no", "true", "false"]
    return opened
