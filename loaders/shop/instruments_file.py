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
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from platformdirs import user_config_path
from pydantic import ValidationError
from pydantic_core import ErrorDetails

from ...schema.instruments import KnownInstruments, Meter, Probe, Scope
from ...schema.instruments.ordinary import BUILT_IN
from ...schema.text import nearest_word
from ..errors import Fault, InvalidFileError

_SORTS: Final[dict[str, type[Meter] | type[Probe] | type[Scope]]] = {
    "meter": Meter,
    "probe": Probe,
    "scope": Scope,
}
_MOST_BYTES: Final = 1_000_000
_OUR_WORDS: Final = (
    ("String should have", "a text of"),
    ("greater than or equal to", "at least"),
    ("less than or equal to", "at most"),
)

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


class InstrumentsFileError(InvalidFileError):
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
        with path.open("rb") as file:
            data = file.read(_MOST_BYTES + 1)
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
            faults.append(_unknown_sort(sort, text, name))
            continue
        for key, fields in tables.items():
            table = _Table(text, name, sort, key)
            faults += table.shape_faults(fields)
            try:
                if isinstance(fields, dict):
                    own[sort][key] = _SORTS[sort].model_validate({**fields, "name": key})
            except ValidationError as refused:
                faults += map(table.fault, refused.errors())
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
    except (RecursionError, ValueError):  # brackets in brackets, or a number of thousands of digits
        line, column, words = 1, 1, "brackets too deep or a number too long"
    expected = f'lines such as factor = 10 or rating = "400 V" ({words[:1].lower()}{words[1:]})'
    raise InstrumentsFileError((Fault(name, line, column, "what is not TOML", expected),))


def _unknown_sort(sort: str, text: str, name: str) -> Fault:
    near = None if sort in _SORTS else nearest_word(sort, list(_SORTS))
    expected = "tables such as [meter.NAME], [probe.NAME], [scope.NAME]"
    return Fault(name, _line_of(text, sort), 1, f"'{sort}'", expected, near, "sort")


def _others(ordinary: dict[str, Any], own: dict[str, Any]) -> dict[str, Any]:
    taken = {key.casefold() for key in own}
    return {key: value for key, value in ordinary.items() if key.casefold() not in taken}


@dataclass(frozen=True)
class _Table:
    """One table of the file, to say what is wrong in it and where."""

    text: str
    file: str
    sort: str
    key: str

    @property
    def line(self) -> int:
        """The line of its header."""
        return _line_of_table(self.text, self.sort, self.key)

    def shape_faults(self, fields: Any) -> list[Fault]:
        """The fault of a value where a table should be, or of a second name."""
        if not isinstance(fields, dict):
            line = _line_of(self.text, self.key, self.line)
            header = f'[{self.sort}."NAME"]'
            found, expected = f"the key {self.key}", f"a table with the instrument's name, {header}"
            return [Fault(self.file, line, 1, found, expected, header, "sort")]
        if "name" in fields:
            line = _line_of(self.text, "name", self.line)
            expected = f"the name in the table's header alone, [{self.sort}.NAME]"
            return [Fault(self.file, line, 1, "the key name", expected, rule="key")]
        return []

    def fault(self, error: ErrorDetails) -> Fault:
        """One pydantic error with the line of its key, or of its table where the key is missing."""
        field = str(error["loc"][0]) if error["loc"] else ""
        if error["type"] == "missing":
            expected, write = f"the key {field} here", f"{field} = …"
            return Fault(self.file, self.line, 1, f"no {field}", expected, write, "missing")
        line = _line_of(self.text, field, self.line) if field else self.line
        if error["type"] == "extra_forbidden":
            known = [key for key in _SORTS[self.sort].model_fields if key != "name"]
            expected, near = f"one of {', '.join(known)}", nearest_word(field, known)
            return Fault(self.file, line, 1, f"the key {field}", expected, near, "key")
        context = error.get("ctx", {})
        if error["type"] == "quantity":
            found, expected = f"'{context['found']}'", str(context["expected"])
            return Fault(self.file, line, 1, found, expected, f'"{context["write"]}"')
        found = f"'{error['input']}'" if field else f"the {self.sort} '{self.key}'"
        words = re.findall(r"'([^']+)'", context.get("expected", ""))
        near = nearest_word(str(error["input"]), words)
        return Fault(self.file, line, 1, found, _message(error), near)


def _message(error: ErrorDetails) -> str:
    """What pydantic expected, to stand after "expected"."""
    message = re.sub(r"^(Value error, )?(expected |Input should be )?", "", error["msg"])
    for theirs, ours in _OUR_WORDS:
        message = message.replace(theirs, ours)
    return message


def _line_of_table(text: str, sort: str, key: str) -> int:
    quoted = rf"(?:\"{re.escape(key)}\"|'{re.escape(key)}'|{re.escape(key)})"
    match = re.search(rf"^\s*\[\s*{re.escape(sort)}\s*\.\s*{quoted}\s*\]", text, re.MULTILINE)
    if match is None:  # written another way, such as an inline table
        return _line_of(text, sort)
    return text.count("\n", 0, match.start()) + 1 + match[0].count("\n")


def _line_of(text: str, key: str, after: int = 1) -> int:
    """Line of the first ``key`` at or after a line; that line when there is none."""
    lines = text.split("\n")
    for number, line in enumerate(lines[after - 1 :], start=after):
        if re.match(rf"\s*\[*\s*[\"']?{re.escape(key)}\b", line):
            return number
    return after
