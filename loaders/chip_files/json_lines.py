"""One line of JSON Lines as a chip: read fast, and read again slowly to say what is wrong.

A line is what a folio keeps of a chip: its fields, defaults left out, quantities as written.
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
# What Python's reader of JSON says, and what it would have had there.
_WANTED: Final = {
    "Unterminated string": "a text with its closing quote",
    "Invalid control character": "a text without control characters",
    "Invalid \\": "an escape that JSON has, such as \\n",
    "Extra data": "nothing more",
}


def read_json_line(data: bytes, name: str, line: int) -> tuple[Chip, str]:
    """The chip in a line of the file ``name``, and its document.

    Raises ChipFileError with all faults, each with its line and, as far as can be told, column.
    """
    if len(data) > MOST_BYTES:
        found = f"more than {MOST_BYTES:,} bytes"
        raise ChipFileError((Fault(name, line, 1, found, f"{_EXPECTED}, which is shorter"),))
    try:
        chip = Chip.model_validate_json(data)
    except ValidationError:
        raise ChipFileError(_faults(data, name, line)) from None
    document = chip.document()
    # A line spelt as a document is spelt has each key once; any other is looked at for that.
    if document.encode("utf-8", "replace") != data.strip():
        _plain(data, name, line)
    return chip, document


def _faults(data: bytes, name: str, line: int) -> tuple[Fault, ...]:
    try:
        plain = _plain(data, name, line)
        located = _located(data, name)
        located.data = plain
        validate_located(Chip, located, ChipFileError, '{"part": …}')
    except ChipFileError as refused:
        return tuple(replace(fault, line=line) for fault in refused.faults)
    return (Fault(name, line, 1, "a value of another sort", _EXPECTED),)


def _plain(data: bytes, name: str, line: int) -> Any:
    """The line as JSON has it, refused where it is none or has a key twice."""
    try:
        return json.loads(data.decode().strip(), object_pairs_hook=_each_once)
    except _KeyTwiceError as refused:
        fault = Fault(name, line, 1, f"'{refused}' twice in one place", "each key once")
    except json.JSONDecodeError as refused:
        fault = Fault(name, line, refused.colno, *_said(refused))
    except UnicodeDecodeError as refused:
        found = f"the byte 0x{data[refused.start]:02x}, which is not UTF-8"
        fault = Fault(name, line, refused.start + 1, found, "UTF-8; save the file again as UTF-8")
    except RecursionError:
        fault = Fault(name, line, 1, "very deep nesting", _EXPECTED)
    raise ChipFileError((replace(fault, rule="json"),))


def _said(refused: json.JSONDecodeError) -> tuple[str, str]:
    """What was found and expected, in fewer words than Python's."""
    rest = refused.doc[refused.pos : refused.pos + 10]
    found = f"'{rest}'" if rest else "the end of the line"
    wanted = re.fullmatch("Expecting (.*?)( delimiter)?", refused.msg)
    known = (other for said, other in _WANTED.items() if refused.msg.startswith(said))
    expected = wanted[1] if wanted else next(known, "")
    return found, f"{expected}: {_EXPECTED}" if expected else _EXPECTED


class _KeyTwiceError(ValueError):
    """A key that comes twice."""


def _each_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        keys = [key for key, _ in pairs]
        raise _KeyTwiceError(next(key for key in keys if keys.count(key) > 1))
    return found


def _located(data: bytes, name: str) -> Located:
    """Where the values stand: JSON is YAML too, and that reader keeps their columns."""
    try:
        return read_yaml(data.strip(), name)
    except ChipFileError:
        return Located(None, name)
