"""Hold JSON documents against their published schemas, with the ``jsonschema`` package."""

from __future__ import annotations

from functools import cache
from typing import Any

from jsonschema import Draft202012Validator
from pinfolio.plugins.documents.published_schemas import load_document_schema


@cache
def make_validator(name: str) -> Draft202012Validator:
    """Return the validator of a document, its schema checked against that of draft 2020-12."""
    schema = load_document_schema(name)
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema, format_checker=Draft202012Validator.FORMAT_CHECKER)


def list_departures(name: str, document: Any) -> list[str]:
    """Return the places where a document is not as its schema says, each with the reason."""
    errors = make_validator(name).iter_errors(document)
    return [f"{error.json_path}: {error.message[:300]}" for error in errors]
