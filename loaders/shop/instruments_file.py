"""Read a shop's own instruments from a TOML file, in addition to the built-in ones.

Each table is one instrument, by kind and name, with the keys of ``schema.instruments``::

    [probe."long lead"]
    describes = "x1 lead with crocodile clips, 2 m"
    factor = 1
    ...
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any, Final, NamedTuple

from platformdirs import user_config_path
from pydantic import ValidationError
from pydantic_core import ErrorDetails

from ...schema.instruments import ComponentTester, Counter, KnownInstruments, Meter, Probe, Scope
from ...schema.instruments.ordinary import BUILT_IN
from ...schema.text import find_nearest_word
from ..errors import BrokenRule, Fault, InvalidFileError
from ..system.regular_files import open_regular
from .toml_text import parse_toml

_KINDS: Final[
    dict[str, type[Meter] | type[Probe] | type[Scope] | type[Counter] | type[ComponentTester]]
] = {
    "meter": Meter,
    "probe": Probe,
    "scope": Scope,
    "counter": Counter,
    "tester": ComponentTester,
}
_MOST_BYTES: Final = 1_000_000
_REWORDINGS: Final = (
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
    """The faults of an instruments file."""


def locate_instruments_file() -> Path:
    """Return the path of the instruments file, which need not exist."""
    return user_config_path("pinfolio", appauthor=False) / "instruments.toml"


def load_known_instruments(path: Path | None = None) -> KnownInstruments:
    """Return the shop's own instruments, followed by the built-in ones.

    An instrument with the name of a built-in one replaces it. Raises InstrumentsFileError.
    """
    path = path or locate_instruments_file()
    try:
        with open_regular(path) as file:
            data = file.read(_MOST_BYTES + 1)
    except FileNotFoundError:
        return BUILT_IN
    except OSError as error:
        found_text = error.strerror or "an error"
        raise InstrumentsFileError(
            (Fault(str(path), 1, 1, found_text, "a readable file"),)
        ) from None
    return read_instruments(data, str(path))


def read_instruments(data: bytes, name: str) -> KnownInstruments:
    """Return the instruments of a file and the built-in ones; ``name`` is the file for messages.

    Raises InstrumentsFileError with every fault.
    """
    text = _decode(data, name)
    own: dict[str, dict[str, Any]] = {kind: {} for kind in _KINDS}
    faults: list[Fault] = []
    for kind, tables in _parse_tables(text, name).items():
        if kind not in _KINDS or not isinstance(tables, dict):
            faults.append(_describe_unknown_kind(kind, text, name))
            continue
        for key, fields in tables.items():
            table = _Table(text, name, kind, key)
            faults += table.find_shape_faults(fields)
            try:
                if isinstance(fields, dict):
                    own[kind][key] = _KINDS[kind].model_validate({**fields, "name": key})
            except ValidationError as error:
                faults += map(table.fault, error.errors())
    if faults:
        raise InstrumentsFileError(tuple(sorted(faults, key=lambda fault: fault.line)))
    return KnownInstruments(
        meters={**own["meter"], **_select_others(BUILT_IN.meters, own["meter"])},
        probes={**own["probe"], **_select_others(BUILT_IN.probes, own["probe"])},
        scopes={**own["scope"], **_select_others(BUILT_IN.scopes, own["scope"])},
        counters={**own["counter"], **_select_others(BUILT_IN.counters, own["counter"])},
        testers={**own["tester"], **_select_others(BUILT_IN.testers, own["tester"])},
    )


def _decode(data: bytes, name: str) -> str:
    if len(data) > _MOST_BYTES:
        fault = Fault(name, 1, 1, "more than 1 MB", "a short text file")
        raise InstrumentsFileError((fault,))
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        fault = Fault(name, line, 1, "bytes that are not UTF-8", "text saved as UTF-8")
        raise InstrumentsFileError((fault,)) from None


def _parse_tables(text: str, name: str) -> dict[str, Any]:
    try:
        return parse_toml(text)
    except ValueError as error:
        where = re.search(r"line ([0-9]+), column ([0-9]+)", str(error))
        line, column = (int(where[1]), int(where[2])) if where else (text.count("\n") + 1, 1)
        words = re.sub(r" \(at .*\)$", "", str(error))
    expected = f'lines such as factor = 10 or rating = "400 V" ({words[:1].lower()}{words[1:]})'
    raise InstrumentsFileError((Fault(name, line, column, "text that is not TOML", expected),))


def _describe_unknown_kind(kind: str, text: str, name: str) -> Fault:
    nearest = None if kind in _KINDS else find_nearest_word(kind, list(_KINDS))
    names = ", ".join(f"[{known}.NAME]" for known in _KINDS)
    expected = f"tables such as {names}"
    return Fault(name, _find_line(text, kind), 1, f"'{kind}'", expected, nearest, "kind")


def _select_others(ordinary: dict[str, Any], own: dict[str, Any]) -> dict[str, Any]:
    taken = {key.casefold() for key in own}
    return {key: value for key, value in ordinary.items() if key.casefold() not in taken}


class _Table(NamedTuple):
    """A table of the file, to describe its faults with their lines."""

    text: str
    file: str
    kind: str
    key: str

    @property
    def line(self) -> int:
        """Line of its header."""
        return _find_table_line(self.text, self.kind, self.key)

    def find_shape_faults(self, fields: Any) -> list[Fault]:
        """Return the fault of a value in place of a table, or of a second name."""
        if not isinstance(fields, dict):
            line = _find_line(self.text, self.key, self.line)
            header = f'[{self.kind}."NAME"]'
            found_text, expected = (
                f"the key {self.key}",
                f"a table with the instrument's name, {header}",
            )
            return [Fault(self.file, line, 1, found_text, expected, header, "kind")]
        if "name" in fields:
            line = _find_line(self.text, "name", self.line)
            expected = f"the name in the table's header alone, [{self.kind}.NAME]"
            return [Fault(self.file, line, 1, "the key name", expected, rule="key")]
        return []

    def fault(self, error: ErrorDetails) -> Fault:
        """Return a pydantic error as a fault at the line of its key, or of its table."""
        field = str(error["loc"][0]) if error["loc"] else ""
        if error["type"] == "missing":
            expected, write = f"the key {field} here", f"{field} = …"
            return Fault(self.file, self.line, 1, f"no {field}", expected, write, "missing")
        line = _find_line(self.text, field, self.line) if field else self.line
        if error["type"] == "extra_forbidden":
            known = [key for key in _KINDS[self.kind].model_fields if key != "name"]
            expected, nearest = f"one of {', '.join(known)}", find_nearest_word(field, known)
            return Fault(self.file, line, 1, f"the key {field}", expected, nearest, "key")
        context = error.get("ctx", {})
        if error["type"] == "quantity":
            found_text, expected = f"'{context['found']}'", str(context["expected"])
            suggestion = None if context["write"] is None else f'"{context["write"]}"'
            return Fault(self.file, line, 1, found_text, expected, suggestion)
        found_text = f"'{error['input']}'" if field else f"the {self.kind} '{self.key}'"
        problem, semicolon, remedy = str(context.get("error", "")).partition("; ")
        if semicolon:
            return BrokenRule(self.file, line, 1, f"{found_text}: {problem}", remedy)
        words = re.findall(r"'([^']+)'", context.get("expected", ""))
        nearest = find_nearest_word(str(error["input"]), words)
        return Fault(self.file, line, 1, found_text, _describe_expected(error), nearest)


def _describe_expected(error: ErrorDetails) -> str:
    """Return the text that follows "expected" in a message."""
    message = re.sub(r"^(Value error, )?(expected |Input should be )?", "", error["msg"])
    for pydantic_wording, wording in _REWORDINGS:
        message = message.replace(pydantic_wording, wording)
    return message


def _find_table_line(text: str, kind: str, key: str) -> int:
    quoted = rf"(?:\"{re.escape(key)}\"|'{re.escape(key)}'|{re.escape(key)})"
    match = re.search(rf"^\s*\[\s*{re.escape(kind)}\s*\.\s*{quoted}\s*\]", text, re.MULTILINE)
    if match is None:  # written another way, such as an inline table
        return _find_line(text, kind)
    return text.count("\n", 0, match.start()) + 1 + match[0].count("\n")


def _find_line(text: str, key: str, after: int = 1) -> int:
    """Return the line of the first ``key`` at or after line ``after``, else ``after``."""
    lines = text.split("\n")
    for number, line in enumerate(lines[after - 1 :], start=after):
        if re.match(rf"\s*\[*\s*[\"']?{re.escape(key)}\b", line):
            return number
    return after
