"""Read oscilloscope captures saved as text, in any common layout.

Time and volts, or volts alone with a sample interval stated around them; any number of channels,
any usual delimiter, decimal sign and encoding. A file that can be understood in two ways is
refused.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from .capture import FEWEST_SAMPLES, MOST_BYTES, Capture, CaptureError, Samples
from .capture_header import Column, count_headings, is_general_word, read_columns
from .capture_settings import Settings, read_settings
from .capture_units import SECONDS, print_unit
from .column_roles import Roles, tell_roles
from .export_text import convert_to_utf8, simplify_cells
from .number_dialect import Dialect, decode_line, detect_dialect
from .number_table import (
    LINES_WITH_SETTINGS,
    check_finite,
    find_numbers,
    read_table,
    refuse_odd_line_above,
)
from .reading_place import ReadingPlace, build_error
from .time_axis import (
    TimeAxis,
    TimeColumn,
    check_interval,
    choose_interval_s,
    lay_evenly,
    read_step,
)
from .volt_scale import check_volts, find_scale

_ROWS_EXAMINED: Final = 1000  # enough to tell whole numbers from decimal ones
_INTERVAL_LINE: Final = "sample interval: 1 µs"


def read_text_capture(data: bytes, name: str, interval_s: float | None = None) -> Capture:
    """Return the samples in a text file's bytes; ``name`` names the file in errors.

    ``interval_s`` is used where the file has no time column and states no sample interval.
    Raises CaptureError, which names the first wrong line.
    """
    text, dialect = _decode(data, name)
    start, end = find_numbers(text, dialect)
    place = ReadingPlace(name, text, start)
    above = [decode_line(line) for line in text[:start].splitlines()]
    refuse_odd_line_above(above, dialect, place)
    table = read_table(text, start, end, dialect, place)
    around = [*above, *_list_settings_lines(text, start, end, dialect)]
    settings = read_settings(around, dialect.delimiter, comma=dialect.comma)
    columns = read_columns(above, dialect)
    check_finite(table, place)
    if dialect.delimiter == ",":
        _refuse_unclear_comma(table, columns, count_headings(above, dialect), place)
    return _assemble(table, columns, settings, interval_s, dialect, place)


def _decode(data: bytes, name: str) -> tuple[bytes, Dialect]:
    """Return a capture's text as UTF-8 and its dialect of numbers. Raises CaptureError."""
    if len(data) > MOST_BYTES:
        raise build_error(name, 1, f"{len(data):,} bytes", f"no more than {MOST_BYTES:,}")
    try:
        text = simplify_cells(convert_to_utf8(data))
    except UnicodeDecodeError:
        raise build_error(name, 1, "broken UTF-16", "text saved as UTF-8") from None
    dialect = detect_dialect(text)
    if dialect is None:
        found_text = "no line of numbers" if text.strip() else "an empty file"
        expected = "lines of time and volts, such as 0.000001,2.5"
        raise build_error(name, 1, found_text, expected, ReadingPlace(name, text, 0).quote(2))
    return text, dialect


def _list_settings_lines(text: bytes, start: int, end: int, dialect: Dialect) -> list[str]:
    """Return the fields beside the first numbers as lines, and the lines below the last."""
    beside = []
    for line in text[start:end].split(b"\n", LINES_WITH_SETTINGS)[:LINES_WITH_SETTINGS]:
        fields = dialect.split_fields(decode_line(line))
        for column in dialect.columns:
            if column < len(fields):
                fields[column] = ""
        beside.append((dialect.delimiter or " ").join(fields))
    return [
        *(line for line in beside if line.strip(",;\t ")),
        *decode_line(text[end:]).splitlines(),
    ]


def _refuse_unclear_comma(
    table: Samples, columns: tuple[Column, ...], headings: int, place: ReadingPlace
) -> None:
    """Refuse whole numbers in pairs of columns without a name: 0,12 may be one number."""
    named = any(column.name or column.unit for column in columns)
    top = table[:_ROWS_EXAMINED]
    rises = (np.diff(top[:, 0]) > 0).all()
    are_pairs = table.shape[1] == 2 * headings or (table.shape[1] == 2 and not rises and not named)
    if are_pairs and (top == np.round(top)).all():
        found_text = f"{table[0, 0]:g},{table[0, 1]:g}, which may be one number or two"
        raise place.error_at(0, found_text, "decimal points, or ; or tabs between the columns")


def _assemble(
    table: Samples,
    columns: tuple[Column, ...],
    settings: Settings,
    outside_s: float | None,
    dialect: Dialect,
    place: ReadingPlace,
) -> Capture:
    """Return the capture, with time and sample numbers told from the channels.

    ``outside_s`` is the sample interval from outside the file. Raises CaptureError.
    """
    values = list(table.T)
    stated_s = (*settings.intervals_s, *settings.rate_intervals_s)
    roles = tell_roles(columns, values, settings, stated_s[0] if stated_s else outside_s, place)
    if not roles.channels:
        raise _explain_no_channel(roles, place)
    names = _name_channels(roles.columns, roles, settings)
    axis = _lay_in_time(values, roles.columns, roles, settings, outside_s, dialect, place)
    channels: list[Samples] = []
    scale_remarks: list[str] = []
    for index, column in enumerate(roles.channels):
        position = (index, len(roles.channels))
        heading, samples = roles.columns[column], values[column]
        scale = find_scale(names[index], heading, samples, settings, position, place)
        channels.append(scale.convert(samples))
        scale_remarks += scale.remarks
    # Checked after all scales: an unclear unit explains an impossible value.
    check_interval(axis.interval_s, place)
    for volts in channels:
        check_volts(volts, place)
    t_s = axis.start_s + axis.interval_s * np.arange(len(table), dtype=np.float64)
    remarks = (
        *axis.remarks,
        *_remark_on_others(roles.columns, roles),
        *_remark_on_length(table, settings),
        *scale_remarks,
    )
    return Capture(t_s, tuple(channels), axis.interval_s, names, remarks)


def _explain_no_channel(roles: Roles, place: ReadingPlace) -> CaptureError:
    """Return the error of a capture without a column of volts, with the units that it has."""
    columns = [roles.columns[n] for n in roles.others]
    units = [f"{column.name or 'a column'} in {print_unit(column.unit)}" for column in columns]
    return place.error_at(0, ", ".join(units) or "no column of volts", "a channel in volts")


def _lay_in_time(
    values: list[Samples],
    columns: tuple[Column, ...],
    roles: Roles,
    settings: Settings,
    outside_s: float | None,
    dialect: Dialect,
    place: ReadingPlace,
) -> TimeAxis:
    """Return the times of the samples. Raises CaptureError where nothing tells them."""
    if len(values[0]) < FEWEST_SAMPLES:
        raise place.error_at(0, f"{len(values[0])} samples", f"at least {FEWEST_SAMPLES}")
    if roles.time is None:
        stated = choose_interval_s(settings.intervals_s, settings.rate_intervals_s, place)
        interval_s = stated or outside_s
        if interval_s is None or interval_s <= 0:
            expected = "a sample interval above them, or a column of time"
            raise place.error_at(0, "volts without time", expected, _INTERVAL_LINE)
        return TimeAxis(settings.start_s or 0.0, interval_s)
    column = columns[roles.time]
    if column.unknown_unit:
        raise place.error_at(0, f"the unit '{column.unknown_unit}' of time", "s, ms, µs or ns")
    unit = column.unit or (settings.x_unit if settings.x_unit in SECONDS else "")
    seconds, time = SECONDS.get(unit, 1.0), roles.time

    def read_last_figure_s(row: int) -> float:
        cells = dialect.split_fields(place.quote(place.line_of(row))[-1][1])
        return seconds * read_step(cells[dialect.columns[time]])

    times = TimeColumn(values[time] * seconds, read_last_figure_s)
    axis = lay_evenly(times, settings.intervals_s, settings.rate_intervals_s, place)
    if unit or axis.interval_s in (*settings.intervals_s, *settings.rate_intervals_s):
        return axis  # a stated interval that agrees tells the unit too
    remark = "No unit is stated for time: taken as seconds"
    return TimeAxis(axis.start_s, axis.interval_s, (remark, *axis.remarks))


def _name_channels(
    columns: tuple[Column, ...], roles: Roles, settings: Settings
) -> tuple[str, ...]:
    """Return a name for each channel: its heading, the source stated, or its place."""
    names = [columns[n].name for n in roles.channels]
    if len(settings.sources) == len(names):
        pairs = zip(names, settings.sources, strict=True)
        names = [source if is_general_word(name) else name for name, source in pairs]
    return tuple(name or f"channel {n}" for n, name in enumerate(names, start=1))


def _remark_on_others(columns: tuple[Column, ...], roles: Roles) -> list[str]:
    others = [columns[n] for n in roles.others]
    return [
        f"{one.name or 'A column'} is in {print_unit(one.unit)}, not in volts: left out"
        for one in others
    ]


def _remark_on_length(table: Samples, settings: Settings) -> list[str]:
    lengths = settings.find_figures("points")
    if not lengths or len(table) in lengths:
        return []
    return [f"The record length stated is {lengths[0]:g}, but there are {len(table)} samples"]
