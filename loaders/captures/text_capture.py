"""Read oscilloscope captures saved as text, in any common dialect.

Time and volts, or volts alone with a sample interval stated in the header; one or two channels;
any usual delimiter, decimal sign and encoding, and any number of header lines.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from ...schema.quantities import print_value
from ..errors import Fault, InvalidFileError
from .capture_header import Column, Header, read_header
from .number_dialect import Dialect, convert_to_utf8, decode_line, detect_dialect

Samples = NDArray[np.float64]

MOST_BYTES: Final = 200_000_000
MOST_SAMPLES: Final = 20_000_000
_MOST_CHANNELS: Final = 2
_FEWEST_SAMPLES: Final = 2
_LEAST_INTERVAL_S, _LONGEST_INTERVAL_S, _MOST_V = 1e-14, 3600.0, 1e6
_LINES_WITH_SETTINGS: Final = 50  # some formats put settings in columns beside the first numbers
_ROWS_EXAMINED: Final = 1000  # enough to tell time, count and volts apart
_INTERVAL_LINE: Final = "sample interval: 1 µs"


class CaptureError(InvalidFileError):
    """A capture file that cannot be read; each fault names its line."""


@dataclass(frozen=True, eq=False)
class Capture:
    """Evenly spaced samples of one channel or two."""

    t_s: Samples
    """Times in seconds, one for each sample."""
    channels: tuple[Samples, ...]
    """Volts of each channel, arrays of the length of ``t_s``."""
    interval_s: float
    """Seconds from sample to sample."""
    names: tuple[str, ...]
    """Names of the channels, as in the file."""


def read_capture(data: bytes, name: str, interval_s: float | None = None) -> Capture:
    """Return the samples in a file's bytes; ``name`` names the file in errors.

    ``interval_s`` is used where the file has no time column and states no sample interval.
    Raises CaptureError, which names the first wrong line.
    """
    text, dialect = _decode(data, name)
    start = _find_numbers(text, dialect)
    above = [decode_line(line) for line in text[:start].splitlines()]
    table = _read_table(text, start, dialect, name)
    beside = text[start:].split(b"\n", _LINES_WITH_SETTINGS)[:-1] if dialect.columns[0] else []
    header = read_header(above + [decode_line(line) for line in beside], dialect)

    def line_of(row: int) -> int:
        """Return the line number in the file of a row of the table."""
        rows = (n for n, line in enumerate(io.BytesIO(text[start:])) if line.strip())
        return len(above) + 1 + next(n for at, n in enumerate(rows) if at == row)

    place = _Place(name, line_of)
    _check_finite(table, place)
    if dialect.delimiter == ",":
        _refuse_unclear_comma(table, header, place)
    return _assemble(table, header, header.interval_s or interval_s, place)


@dataclass(frozen=True)
class _Place:
    """The file and the line of each row of the table, for errors."""

    file: str
    line_of: Callable[[int], int]

    def error_at(
        self, row: int, found: str, expected: str, write: str | None = None
    ) -> CaptureError:
        return CaptureError((Fault(self.file, self.line_of(row), 1, found, expected, write),))


def _decode(data: bytes, name: str) -> tuple[bytes, Dialect]:
    """Return a capture's text as UTF-8 and its dialect of numbers. Raises CaptureError."""
    if len(data) > MOST_BYTES:
        raise _build_error(name, 1, f"{len(data):,} bytes", f"no more than {MOST_BYTES:,}")
    try:
        text = convert_to_utf8(data)
    except UnicodeDecodeError:
        raise _build_error(name, 1, "broken UTF-16", "text saved as UTF-8") from None
    dialect = detect_dialect(text)
    if dialect is None:
        found_text = "no line of numbers" if text.strip() else "an empty file"
        expected = "lines of time and volts, such as 0.000001,2.5"
        raise _build_error(name, 1, found_text, expected)
    return text, dialect


def _find_numbers(text: bytes, dialect: Dialect) -> int:
    """Return the byte offset of the first line of numbers; 0 when there is none."""
    start = 0
    while start < len(text):
        end = text.find(b"\n", start)
        end = len(text) if end < 0 else end
        if dialect.holds_numbers(decode_line(text[start:end])):
            return start
        start = end + 1
    return 0


def _read_table(text: bytes, start: int, dialect: Dialect, name: str) -> Samples:
    """Return the numbers, rows x numeric columns."""
    body = text[start:]
    lines = body.count(b"\n")
    first = text.count(b"\n", 0, start) + 1
    if lines > MOST_SAMPLES:
        raise _build_error(name, first, f"{lines:,} lines", f"no more than {MOST_SAMPLES:,}")
    if dialect.comma:
        body = body.replace(b",", b".")
    try:
        return np.loadtxt(
            io.BytesIO(body),
            delimiter=dialect.delimiter,
            usecols=dialect.columns,
            comments=None,
            quotechar='"',
            ndmin=2,
            encoding="latin-1",
        )
    except ValueError:
        raise _explain_first_odd_line(text, start, first, dialect, name) from None


def _explain_first_odd_line(
    text: bytes, start: int, first: int, dialect: Dialect, name: str
) -> CaptureError:
    for number, line in enumerate(io.BytesIO(text[start:]), start=first):
        words = decode_line(line).strip()
        if words and not dialect.holds_numbers(words):
            return _build_error(name, number, f"'{words}'", _describe_line(dialect))
    return _build_error(name, first, "numbers that cannot be read", _describe_line(dialect))


def _describe_line(dialect: Dialect) -> str:
    """Return how a line of numbers should look, in words."""
    count = len(dialect.columns)
    sign = "comma" if dialect.comma else "point"
    between = {";": "semicolons", ",": "commas", "\t": "tabs", None: "blanks"}[dialect.delimiter]
    if count == 1:
        return f"a number with a decimal {sign}, as in the other lines"
    return f"{count} numbers with a decimal {sign}, {between} between them, as in the other lines"


def _check_finite(table: Samples, place: _Place) -> None:
    bad = np.flatnonzero(~np.isfinite(table).all(axis=1))
    if bad.size:
        row = int(bad[0])
        found_text = " ".join(f"{value:g}" for value in table[row])
        raise place.error_at(row, found_text, "finite numbers")


def _refuse_unclear_comma(table: Samples, header: Header, place: _Place) -> None:
    """Refuse whole numbers in two columns of which neither is time: 0,12 may be one number."""
    named = any(head.name or head.unit for head in header.columns)
    top = table[:_ROWS_EXAMINED]
    all_whole = (top == np.round(top)).all()
    rises = (np.diff(top[:, 0]) > 0).all()
    if table.shape[1] == 2 and all_whole and not rises and not named:
        found_text = f"{table[0, 0]:g},{table[0, 1]:g}, which may be one number or two"
        raise place.error_at(0, found_text, "decimal points, or ; or tabs between the columns")


def _assemble(table: Samples, header: Header, interval_s: float | None, place: _Place) -> Capture:
    """Return the capture, with the time column told from the channels."""
    heads, values = list(header.columns), list(table.T)
    first = _classify_first_column(heads, values, interval_s)
    t_s: Samples | None = None
    if first == "time":
        t_s = _space_evenly(values[0] * heads[0].seconds, place)
    if first != "volts":
        heads, values = heads[1:], values[1:]
    if len(values) > _MOST_CHANNELS:
        raise place.error_at(0, f"{len(values)} columns of volts", "one or two channels")
    if t_s is None:
        if interval_s is None or interval_s <= 0:
            expected = "a sample interval above them, or a column of time"
            raise place.error_at(0, "volts without time", expected, _INTERVAL_LINE)
        t_s = interval_s * np.arange(len(table), dtype=np.float64)
    if len(t_s) < _FEWEST_SAMPLES:
        raise place.error_at(0, f"{len(t_s)} samples", f"at least {_FEWEST_SAMPLES}")
    channels = tuple(
        np.ascontiguousarray(v) * head.volts for v, head in zip(values, heads, strict=True)
    )
    _check_likely(t_s, channels, place)
    names = tuple(head.name or f"channel {n}" for n, head in enumerate(heads, start=1))
    return Capture(t_s, channels, float(t_s[-1] - t_s[0]) / (len(t_s) - 1), names)


def _check_likely(t_s: Samples, channels: tuple[Samples, ...], place: _Place) -> None:
    """Refuse intervals and voltages that no oscilloscope writes and that would overflow sums."""
    interval_s = float(t_s[1] - t_s[0])
    if not _LEAST_INTERVAL_S <= interval_s <= _LONGEST_INTERVAL_S:
        found_text = f"samples {print_value(interval_s, 's')} apart"
        raise place.error_at(1, found_text, "between 10 fs and an hour")
    for volts in channels:
        row = int(np.argmax(np.abs(volts)))
        if abs(volts[row]) > _MOST_V:
            raise place.error_at(row, f"{volts[row]:g} V", "volts of a probe, below 1 MV")


def _classify_first_column(
    heads: list[Column], values: list[Samples], interval_s: float | None
) -> Literal["time", "count", "volts"]:
    """Return the kind of the first column, by its heading, else by its figures."""
    if len(values) == 1:
        return "volts"
    if heads[0].is_time:
        return "time"
    steps = np.diff(values[0][:_ROWS_EXAMINED])
    if interval_s is None:
        return "time"
    if heads[0].is_volts:
        return "volts"
    if heads[0].is_count or (steps == 1).all():
        return "count"
    # Times rise by the same step, but for the rounding of their last figure.
    rises_evenly = bool(steps.size) and np.ptp(steps) < abs(steps.mean()) / 100
    return "time" if rises_evenly else "volts"


def _space_evenly(t_s: Samples, place: _Place) -> Samples:
    """Return evenly spaced times from first to last; refuse times that are not even.

    A file may write its times with so few figures that neighbours are equal: they may be off by
    one step of its last figure, or by half an interval.
    """
    if len(t_s) < _FEWEST_SAMPLES:
        raise place.error_at(0, f"{len(t_s)} samples", f"at least {_FEWEST_SAMPLES}")
    steps = np.diff(t_s)
    if t_s[-1] <= t_s[0] or steps.min() < 0:
        row = int(np.argmax(steps <= 0)) + 1
        expected = "times that rise from line to line; a decimal comma needs ; between columns"
        raise place.error_at(row, f"{t_s[row]:g} s after {t_s[row - 1]:g} s", expected)
    even: Samples = np.linspace(t_s[0], t_s[-1], len(t_s))
    coarse_s = float(np.median(steps[steps > 0]))
    if np.abs(t_s - even).max() > max((even[1] - even[0]) / 2, 1.01 * coarse_s):
        usual_s = float(np.median(steps))
        row = int(np.argmax(np.abs(steps - usual_s))) + 1
        found_text = f"a step of {print_value(float(steps[row - 1]), 's')}"
        raise place.error_at(
            row, found_text, f"even steps, of {print_value(usual_s, 's')} as elsewhere"
        )
    return even


def _build_error(name: str, line: int, found: str, expected: str) -> CaptureError:
    return CaptureError((Fault(name, line, 1, found, expected),))
