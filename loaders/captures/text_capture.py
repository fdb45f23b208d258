"""Read the samples that an oscilloscope wrote as text, in whichever way it writes them.

Time and volts, or volts alone with a sample interval stated in the header; one or two channels;
any usual delimiter, decimal point or comma, encoding, and any number of lines above the numbers.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from ...schema.quantities import print_value
from ..errors import Fault, FaultyFile
from .capture_header import Column, Header, read_header
from .number_dialect import Dialect, as_utf8, as_words, dialect_of

Samples = NDArray[np.float64]

MOST_BYTES: Final = 200_000_000
MOST_SAMPLES: Final = 20_000_000
_MOST_CHANNELS: Final = 2
_FEWEST_SAMPLES: Final = 2
_LEAST_INTERVAL_S, _LONGEST_INTERVAL_S, _MOST_V = 1e-14, 3600.0, 1e6
_LINES_WITH_SETTINGS: Final = 50  # beside the first numbers, where settings stand in own columns
_ABOVE: Final = "sample interval: 1 µs"


class CaptureError(FaultyFile):
    """What is wrong with a capture file."""


@dataclass(frozen=True, eq=False)
class Capture:
    """Samples at even intervals, of one channel or two."""

    t_s: Samples
    """Times in seconds, one for each sample."""
    channels: tuple[Samples, ...]
    """Volts of each channel, each as long as ``t_s``."""
    interval_s: float
    """Seconds from sample to sample."""
    names: tuple[str, ...]
    """Names of the channels, as the file has them."""


def read_capture(data: bytes, name: str, interval_s: float | None = None) -> Capture:
    """The samples of a file's bytes; ``name`` stands for the file in errors.

    ``interval_s`` counts where the file has no time column and states no sample interval.
    Raises CaptureError, naming the first line that is wrong.
    """
    text, dialect = _text_and_dialect(data, name)
    start = _start(text, dialect)
    above = [as_words(line) for line in text[:start].splitlines()]
    table = _table(text, start, dialect, name)
    beside = text[start:].split(b"\n", _LINES_WITH_SETTINGS)[:-1] if dialect.columns[0] else []
    header = read_header(above + [as_words(line) for line in beside], dialect)

    def line_of(row: int) -> int:
        """The line of the file on which a row of the table stands."""
        rows = (n for n, line in enumerate(io.BytesIO(text[start:])) if line.strip())
        return len(above) + 1 + next(n for at, n in enumerate(rows) if at == row)

    place = _Place(name, line_of)
    _check_finite(table, place)
    if dialect.delimiter == ",":
        _refuse_unclear_comma(table, header, place)
    return _capture(table, header, header.interval_s or interval_s, place)


@dataclass(frozen=True)
class _Place:
    """Where a row of the table is, for an error."""

    file: str
    line_of: Callable[[int], int]

    def error(self, row: int, found: str, expected: str, write: str | None = None) -> CaptureError:
        return CaptureError((Fault(self.file, self.line_of(row), 1, found, expected, write),))


def _text_and_dialect(data: bytes, name: str) -> tuple[bytes, Dialect]:
    if len(data) > MOST_BYTES:
        raise _error(name, 1, f"{len(data):,} bytes", f"no more than {MOST_BYTES:,}")
    try:
        text = as_utf8(data)
    except UnicodeDecodeError:
        raise _error(name, 1, "broken UTF-16", "text saved as UTF-8") from None
    dialect = dialect_of(text)
    if dialect is None:
        found = "no line of numbers" if text.strip() else "an empty file"
        expected = "lines of time and volts, such as 0.000001,2.5"
        raise _error(name, 1, found, expected)
    return text, dialect


def _start(text: bytes, dialect: Dialect) -> int:
    """Where the first line of numbers starts, in bytes; 0 when none looks like the rest."""
    start = 0
    while start < len(text):
        end = text.find(b"\n", start)
        end = len(text) if end < 0 else end
        if dialect.holds_numbers(as_words(text[start:end])):
            return start
        start = end + 1
    return 0


def _table(text: bytes, start: int, dialect: Dialect, name: str) -> Samples:
    """All rows of numbers, one column for each that holds them."""
    body = text[start:]
    lines = body.count(b"\n")
    first = text.count(b"\n", 0, start) + 1
    if lines > MOST_SAMPLES:
        raise _error(name, first, f"{lines:,} lines", f"no more than {MOST_SAMPLES:,}")
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
        raise _first_odd_line(text, start, first, dialect, name) from None


def _first_odd_line(
    text: bytes, start: int, first: int, dialect: Dialect, name: str
) -> CaptureError:
    for number, line in enumerate(io.BytesIO(text[start:]), start=first):
        words = as_words(line).strip()
        if words and not dialect.holds_numbers(words):
            return _error(name, number, f"'{words}'", _numbers(dialect))
    return _error(name, first, "numbers that cannot be read", _numbers(dialect))


def _numbers(dialect: Dialect) -> str:
    """What a line should be, in words."""
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
        found = " ".join(f"{value:g}" for value in table[row])
        raise place.error(row, found, "finite numbers")


def _refuse_unclear_comma(table: Samples, header: Header, place: _Place) -> None:
    """Whole numbers in two columns of which none is time: 0,12 may be one number or two."""
    named = any(head.name or head.unit for head in header.columns)
    whole = (table[:1000] == np.round(table[:1000])).all()
    rises = (np.diff(table[:1000, 0]) > 0).all()
    if table.shape[1] == 2 and whole and not rises and not named:
        found = f"{table[0, 0]:g},{table[0, 1]:g}, which may be one number or two"
        raise place.error(0, found, "decimal points, or ; or tabs between the columns")


def _capture(table: Samples, header: Header, interval_s: float | None, place: _Place) -> Capture:
    """Time and channels told apart."""
    heads, values = list(header.columns), list(table.T)
    first = _first_column(heads, values, interval_s)
    t_s: Samples | None = None
    if first == "time":
        t_s = _even(values[0] * heads[0].seconds, place)
    if first != "volts":
        heads, values = heads[1:], values[1:]
    if len(values) > _MOST_CHANNELS:
        raise place.error(0, f"{len(values)} columns of volts", "one or two channels")
    if t_s is None:
        if interval_s is None or interval_s <= 0:
            expected = "a sample interval above them, or a column of time"
            raise place.error(0, "volts without time", expected, _ABOVE)
        t_s = interval_s * np.arange(len(table), dtype=np.float64)
    if len(t_s) < _FEWEST_SAMPLES:
        raise place.error(0, f"{len(t_s)} samples", f"at least {_FEWEST_SAMPLES}")
    channels = tuple(
        np.ascontiguousarray(v) * head.volts for v, head in zip(values, heads, strict=True)
    )
    _check_likely(t_s, channels, place)
    names = tuple(head.name or f"channel {n}" for n, head in enumerate(heads, start=1))
    return Capture(t_s, channels, float(t_s[-1] - t_s[0]) / (len(t_s) - 1), names)


def _check_likely(t_s: Samples, channels: tuple[Samples, ...], place: _Place) -> None:
    """Refuse what no oscilloscope writes, and what sums over it would choke on."""
    interval_s = float(t_s[1] - t_s[0])
    if not _LEAST_INTERVAL_S <= interval_s <= _LONGEST_INTERVAL_S:
        found = f"samples {print_value(interval_s, 's')} apart"
        raise place.error(1, found, "between 10 fs and an hour")
    for volts in channels:
        row = int(np.argmax(np.abs(volts)))
        if abs(volts[row]) > _MOST_V:
            raise place.error(row, f"{volts[row]:g} V", "volts of a probe, below 1 MV")


def _first_column(
    heads: list[Column], values: list[Samples], interval_s: float | None
) -> Literal["time", "count", "volts"]:
    """What the first column is: by its name, else by its figures."""
    if len(values) == 1:
        return "volts"
    if heads[0].is_time:
        return "time"
    steps = np.diff(values[0][:1000])
    if interval_s is None:
        return "time"
    if heads[0].is_volts:
        return "volts"
    if heads[0].is_count or (steps == 1).all():
        return "count"
    rises_evenly = bool(steps.size) and np.ptp(steps) < abs(steps.mean()) / 100
    return "time" if rises_evenly else "volts"


def _even(t_s: Samples, place: _Place) -> Samples:
    """The times laid evenly from first to last; refused where they are not even.

    A file may give its times in so few figures that some are the same: they may be off by one
    step of what it writes, or by half an interval.
    """
    if len(t_s) < _FEWEST_SAMPLES:
        raise place.error(0, f"{len(t_s)} samples", f"at least {_FEWEST_SAMPLES}")
    steps = np.diff(t_s)
    if t_s[-1] <= t_s[0] or steps.min() < 0:
        row = int(np.argmax(steps <= 0)) + 1
        expected = "times that rise from line to line; a decimal comma needs ; between columns"
        raise place.error(row, f"{t_s[row]:g} s after {t_s[row - 1]:g} s", expected)
    even: Samples = np.linspace(t_s[0], t_s[-1], len(t_s))
    coarse_s = float(np.median(steps[steps > 0]))
    if np.abs(t_s - even).max() > max((even[1] - even[0]) / 2, 1.01 * coarse_s):
        usual_s = float(np.median(steps))
        row = int(np.argmax(np.abs(steps - usual_s))) + 1
        found = f"a step of {print_value(float(steps[row - 1]), 's')}"
        raise place.error(row, found, f"even steps, of {print_value(usual_s, 's')} as elsewhere")
    return even


def _error(name: str, line: int, found: str, expected: str) -> CaptureError:
    return CaptureError((Fault(name, line, 1, found, expected),))
