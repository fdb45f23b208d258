"""The chip file described as JSON Schema, for editors that check and complete while one types.

Source: JSON Schema, draft 2020-12. A chip file keeps every scalar as the text it is; an editor's
YAML reader makes numbers of some (``page: 7``) and truth values of others (``invented: yes``,
in YAML 1.1 also a condition called ``off``). The schema takes both, so that an editor accepts
every file that the loader accepts.
"""

from __future__ import annotations

from typing import Any, Final

from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue
from pydantic_core import core_schema

from ..chip import Chip
from .field_docs import read_field_docs

_DIALECT: Final = "https://json-schema.org/draft/2020-12/schema"
_YES_NO: Final = {
    "anyOf": [
        {"enum": [True, False, "yes", "no"]},
        {"type": "string", "pattern": "^(Yes|No|YES|NO|true|false|True|False|TRUE|FALSE)$"},
    ]
}


def chip_json_schema() -> dict[str, Any]:
    """Return the JSON Schema of a chip file: every key described, quantities with an example."""
    generated = Chip.model_json_schema(mode="validation", schema_generator=_WithMeanings)
    schema = _widen_for_editors(generated)
    assert isinstance(schema, dict)
    return {"$schema": _DIALECT, **schema, "title": "pinfolio chip file"}


class _WithMeanings(GenerateJsonSchema):
    """Generator that gives every property the docstring of its field."""

    def model_schema(self, schema: core_schema.ModelSchema) -> JsonSchemaValue:
        described = super().model_schema(schema)
        docs = read_field_docs(schema["cls"])
        for name, field_schema in described["properties"].items():
            if name in docs:
                field_schema["description"] = docs[name]
        return described


def _widen_for_editors(node: Any) -> Any:
    """Return the schema widened to the types that YAML readers make of plain scalars."""
    if isinstance(node, list):
        return [_widen_for_editors(item) for item in node]
    if not isinstance(node, dict):
        return node
    node = _drop_null(node)
    widened = {key: _widen_for_editors(value) for key, value in node.items()}
    has_fixed_spelling = bool({"enum", "const", "pattern"} & node.keys())
    match node.get("type"):
        # An editor takes the part 5752 for a number, and the symbol NO for a Boolean.
        case "string" if not has_fixed_spelling:
            widened["type"] = ["string", "number", "boolean"]
        case "integer":
            widened |= {"type": ["integer", "string"], "pattern": r"^\s*[0-9]{1,9}\s*$"}
        case "boolean":
            del widened["type"]
            widened |= _YES_NO
    return widened


def _drop_null(node: dict[str, Any]) -> dict[str, Any]:
    """Return the schema without its null option: a key is left out, never left empty."""
    options = node.get("anyOf", [])
    if len(options) != 2 or options[1] != {"type": "null"}:
        return node
    others = {key: value for key, value in node.items() if key not in ("anyOf", "default")}
    return {**options[0], **others}
