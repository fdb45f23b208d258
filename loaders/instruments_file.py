"""A shop's own instruments: a TOML file beside the ordinary ones.

Each table is one instrument, by sort and name, with the keys of ``schema.instrument``::

    [probe."long lead"]
    describes = "x1 lead with crocodile clips, 2 m"
    factor = 1
    ...
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any, Final

from platformdirs import user_config_path
from pydantic import ValidationError
from pydantic_core import ErrorDetails
from rapidfuzz import process

from ..schema.instrument import KnownInstruments, Meter, Probe, Scope
from ..schema.ordinary_instruments import BUILT_IN
from .faults import Fault, FaultyFile

_SORTS: Final[dict[str, type[Meter] | type[Probe] | type[Scope]]] = {
    "meter": Meter,
    "probe": Probe,
    "scope": Scope,
}
_MOST_BYTES: Final = 1_000_000
_CLOSE_ENOUGH: Final = 60  # of 100, rapidfuzz ratio

EXAMPLE: Final = """\
[meter."bench meter"]
describes = "Bench digital multimeter, 4½ digits"
input_resistance = "10 MΩ"
dc_percent = "0.05 %"
dc_counts = 3
counts = 20000
ohms_percent = "0.2 %"
ac_bandwidth = "20 kHz"
ac_percent = "1 %"
"""


class InstrumentsFileError(FaultyFile):
    """The faults of the shop's instruments file."""


def instruments_path() -> Path:
    """Where the shop's own instruments are kept, whether or not the file is there."""
    return user_config_path("pinfolio", appauthor=False) / "instruments.toml"


def known_instruments(path: Path | None = None) -> KnownInstruments:
    """The ordinary instruments, and the shop's own before them.

    One of the shop's with the name of an ordinary one takes its place. Raises
    InstrumentsFileError.
    """
    path = path or instruments_path()
    try:
        data = path.read_bytes()[: _MOST_BYTES + 1]
    except FileNotFoundError:
        return BUILT_IN
    except OSError as refused:
        found = refused.strerror or "an error"
        raise InstrumentsFileError((Fault(str(path), 1, 1, found, "a readable file"),)) from None
    return read_instruments(data, str(path))


def read_instruments(data: bytes, name: str) -> KnownInstruments:
    """The instruments of a file's text, with the ordinary ones; ``name`` stands for the file."""
    text = _decoded(data, name)
    own: dict[str, dict[str, Any]] = {sort: {} for sort in _SORTS}
    faults: list[Fault] = []
    for sort, tables in _tables(text, name).items():
        if sort not in _SORTS or not isinstance(tables, dict):
            near = _nearest(sort, list(_SORTS))
            at = _line_of(text, sort)
            expected = "tables such as [meter.NAME], [probe.NAME], [scope.NAME]"
            faults.append(Fault(name, at, 1, f"'{sort}'", expected, near, "sort"))
            continue
        for key, fields in tables.items():
            try:
                own[sort][key] = _SORTS[sort].model_validate(_as_text(key, fields))
            except ValidationError as refused:
                faults += [_fault(e, text, name, sort, key) for e in refused.errors()]
    if faults:
        raise InstrumentsFileError(tuple(sorted(faults, key=lambda fault: fault.line)))
    return KnownInstruments(
        meters={**own["meter"], **_others(BUILT_IN.meters, own["meter"])},
        probes={**own["probe"], **_others(BUILT_IN.probes, own["probe"])},
        scopes={**own["scope"], **_others(BUILT_IN.scopes, own["scope"])},
    )


def _decoded(data: bytes, name: str) -> str:
    if len(data) > _MOST_BYTES:
        fault = Fault(name, 1, 1, "more than 1 MB", "a short text file")
        raise InstrumentsFileError((fault,))
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as refused:
        line = data[: refused.start].count(b"\n") + 1
        fault = Fault(name, line, 1, "bytes that are not UTF-8", "text saved as UTF-8")
        raise InstrumentsFileError((fault,)) from None


def _tables(text: str, name: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as refused:
        where = re.search(r"line ([0-9]+), column ([0-9]+)", str(refused))
        line, column = (int(where[1]), int(where[2])) if where else (text.count("\n") + 1, 1)
        words = re.sub(r" \(at .*\)$", "", str(refused))
        found = f"what is not TOML ({words[:1].lower()}{words[1:]})"
        fault = Fault(name, line, column, found, 'lines such as factor = 10 or rating = "400 V"')
        raise InstrumentsFileError((fault,)) from None


def _as_text(key: str, fields: Any) -> Any:
    """The fields with the table's name; nothing but a table has any."""
    return {"name": key, **fields} if isinstance(fields, dict) else fields


def _others(ordinary: dict[str, Any], own: dict[str, Any]) -> dict[str, Any]:
    taken = {key.casefold() for key in own}
    return {key: value for key, value in ordinary.items() if key.casefold() not in taken}


def _fault(error: ErrorDetails, text: str, name: str, sort: str, key: str) -> Fault:
    """One pydantic error with the line of its key, or of its table where the key is missing."""
    field = str(error["loc"][0]) if error["loc"] else ""
    table = _line_of_table(text, sort, key)
    line = _line_of(text, field, table) if field and error["type"] != "missing" else table
    known = list(_SORTS[sort].model_fields)
    context = error.get("ctx", {})
    if error["type"] == "missing":
        return Fault(
            name, line, 1, f"no {field}", f"the key {field} here", f"{field} = …", "missing"
        )
    if error["type"] == "extra_forbidden":
        expected = f"one of {', '.join(known)}"
        return Fault(name, line, 1, f"the key {field}", expected, _nearest(field, known), "key")
    if error["type"] == "quantity":
        write = f'"{context["write"]}"'
        return Fault(name, line, 1, f"'{context['found']}'", str(context["expected"]), write)
    message = error["msg"].removeprefix("Value error, ").removeprefix("expected ")
    return Fault(name, line, 1, f"'{error['input']}'" if field else "this", message, None)


def _line_of_table(text: str, sort: str, key: str) -> int:
    quoted = rf"(?:\"{re.escape(key)}\"|'{re.escape(key)}'|{re.escape(key)})"
    match = re.search(rf"^\s*\[\s*{re.escape(sort)}\s*\.\s*{quoted}\s*\]", text, re.MULTILINE)
    return text.count("\n", 0, match.start()) + 1 + match[0].count("\n") if match else 1


def _line_of(text: str, key: str, after: int = 1) -> int:
    """Line of the first ``key`` at or after a line; that line when there is none."""
    lines = text.split("\n")
    for number, line in enumerate(lines[after - 1 :], start=after):
        if re.match(rf"\s*\[*\s*[\"']?{re.escape(key)}\b", line):
            return number
    return after


def _nearest(word: str, known: list[str]) -> str | None:
    best = process.extractOne(word, known, score_cutoff=_CLOSE_ENOUGH)
    return best[0] if best else None
