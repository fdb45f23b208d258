"""Read a chip from a line of JSON Lines: fast, and a second time only to locate faults.

A line is the document a folio stores for a chip: its fields without defaults, quantities as
written.
"""

from __future__ import annotations

import json
import re
from dataclasses import replace
from typing import Any, Final

from pydantic import ValidationError

from ...schema import Chip
from ..errors import ChipFileError, Fault
from .validation import validate_located
from .yaml_positions import MOST_BYTES, Located, read_yaml

_EXPECTED: Final = "one chip as JSON on the line"
# Beginnings of the messages of Python's JSON parser, and what it expected instead.
_EXPECTATIONS: Final = {
    "Unterminated string": "a text with its closing quote",
    "Invalid control character": "a text without control characters",
    "Invalid \\": "an escape that JSON has, such as \\n",
    "Extra data": "nothing more",
}


def read_json_line(data: bytes, name: str, line: int) -> tuple[Chip, str]:
    """Return the chip in a line of the file ``name``, and its document.

    Raises ChipFileError with all faults, each with the line and, where known, the column.
    """
    if len(data) > MOST_BYTES:
        found_text = f"more than {MOST_BYTES:,} bytes"
        raise ChipFileError((Fault(name, line, 1, found_text, f"{_EXPECTED}, which is shorter"),))
    try:
        # From the bytes, which takes less time than from parsed objects (pydantic, "Performance").
        chip = Chip.model_validate_json(data)
    except ValidationError:
        raise ChipFileError(_find_faults(data, name, line)) from None
    document = chip.document()
    # pydantic accepts repeated keys; a line that equals the document has none.
    if document.encode("utf-8", "replace") != data.strip():
        _parse(data, name, line)
    return chip, document


def _find_faults(data: bytes, name: str, line: int) -> tuple[Fault, ...]:
    try:
        document = _parse(data, name, line)
        located = _locate(data, name)
        located.data = document
        validate_located(Chip, located, ChipFileError, '{"part": …}')
    except ChipFileError as error:
        return tuple(replace(fault, line=line) for fault in error.faults)
    return (Fault(name, line, 1, "a value of another sort", _EXPECTED),)


def _parse(data: bytes, name: str, line: int) -> Any:
    """Return the parsed line; raises ChipFileError if it is not JSON or repeats a key."""
    try:
        return json.loads(data.decode().strip(), object_pairs_hook=_require_unique_keys)
    except _RepeatedKeyError as error:
        fault = Fault(name, line, 1, f"'{error}' twice in one place", "each key once")
    except json.JSONDecodeError as error:
        fault = Fault(name, line, error.colno, *_explain(error))
    except UnicodeDecodeError as error:
        found_text = f"the byte 0x{data[error.start]:02x}, which is not UTF-8"
        fault = Fault(
            name, line, error.start + 1, found_text, "UTF-8; save the file again as UTF-8"
        )
    except RecursionError:
        fault = Fault(name, line, 1, "very deep nesting", _EXPECTED)
    raise ChipFileError((replace(fault, rule="json"),))


def _explain(error: json.JSONDecodeError) -> tuple[str, str]:
    """Return the text found and the text expected by Python's JSON parser."""
    rest = error.doc[error.pos : error.pos + 10]
    found_text = f"'{rest}'" if rest else "the end of the line"
    stated = re.fullmatch("Expecting (.*?)( delimiter)?", error.msg)
    known = (words for start, words in _EXPECTATIONS.items() if error.msg.startswith(start))
    expected = stated[1] if stated else next(known, "")
    return found_text, f"{expected}: {_EXPECTED}" if expected else _EXPECTED


class _RepeatedKeyError(ValueError):
    """A key occurs twice in one object."""


def _require_unique_keys(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    unique = dict(pairs)
    if len(unique) != len(pairs):
        keys = [key for key, _ in pairs]
        raise _RepeatedKeyError(next(key for key in keys if keys.count(key) > 1))
    return unique


def _locate(data: bytes, name: str) -> Located:
    """Return the positions of the values, using that JSON is YAML."""
    try:
        return read_yaml(data.strip(), name)
    except ChipFileError:
        return Located(None, name)
