"""Compare readings with the expected values of a pin or a node.

The expectation is corrected for the instruments you read it with. A figure may be a word instead:
none, ok. A capture is also compared in shape. A list ends with a table of all verdicts. Exit status
0: everything is as expected; 1: something is not, or cannot be judged.

\b
  pinfolio check TQZ5752 13 --dc "3.1 V" --vpp "0.4 Vpp"
  pinfolio check TQZ5752 17 --freq "15.1 kHz" --scope "digitising 50 MHz"
  pinfolio check TQZ5752 22 --capture sandcastle.csv --svg compared.svg
  pinfolio check TQZ5752 6 --capture bars.csv --vectors colours.svg --page bars.html
  pinfolio check TQZ5752 13 --dc "3.3 V" --condition "no signal" --expect observed
  pinfolio check TQZ5752 --readings bench.txt
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ..capture_answer import CaptureFiles, answer_capture, picture_options
from ..command_common import (
    AnswerIsNo,
    folio_option,
    json_option,
    open_chosen_folio,
    print_json,
    read_input,
)
from ..instrument_choice import bench_options

if TYPE_CHECKING:
    from ....loaders.captures.capture import Capture
    from ....schema.chip import Chip
    from ....schema.chips.data import Pin
    from ....schema.instruments import Instruments
    from ....schema.note import Note
    from ....schema.reading import Reading
    from ...readings.capture_check import CaptureCheck
    from ...readings.verdict import PinVerdict


@click.command(help=__doc__)
@click.argument("part")
@click.argument("pin", required=False)
@click.option("--dc", metavar="VOLTS", help="DC voltage read, such as '3.1 V'.")
@click.option("--vpp", metavar="VOLTS", help="Peak to peak read, such as '0.4 Vpp'.")
@click.option("--freq", metavar="HERTZ", help="Frequency read, such as '15.1 kHz'.")
@click.option("--ohms", metavar="OHMS", help="Resistance to ground with the set off: '4.7 k'.")
@click.option("--seen", metavar="WORDS", help="jumping, distorted, none, clipped, hum, noise.")
@click.option(
    "--readings",
    type=click.Path(path_type=Path, dir_okay=False, exists=True),
    metavar="FILE",
    help="Readings of many places: a table, or lines such as '13: 3.1 V, 0.4 Vpp', '17 none'.",
)
@click.option(
    "--capture",
    type=click.Path(path_type=Path, dir_okay=False, exists=True),
    metavar="FILE",
    help="Samples that an oscilloscope wrote: their shape is judged as well.",
)
@click.option("--channel", metavar="NAME", help="Channel of the capture: its number, or its name.")
@click.option(
    "--interval",
    metavar="TIME",
    help="Time from sample to sample, such as '40 ns', for a capture that does not tell it.",
)
@click.option(
    "--full-scale",
    metavar="VOLTS",
    help="Volts of full scale, such as '1.4 V', for a capture in a sound file.",
)
@picture_options
@click.option("--condition", metavar="NAME", help="The state of the set while measuring.")
@click.option(
    "--expect",
    type=click.Choice(["stated", "observed"]),
    default="observed",
    show_default=True,
    help="Compare with the readings of good sets where there are enough, or with the chip file.",
)
@bench_options
@json_option
@folio_option
def command(
    part: str,
    pin: str | None,
    dc: str | None,
    vpp: str | None,
    freq: str | None,
    ohms: str | None,
    seen: str | None,
    readings: Path | None,
    capture: Path | None,
    channel: str | None,
    interval: str | None,
    full_scale: str | None,
    line: int | None,
    field: int | None,
    files: CaptureFiles,
    condition: str | None,
    expect: str,
    instruments: Instruments,
    as_json: bool,
    folio: Path | None,
) -> None:
    """Print the verdict on readings, a capture or a file, and end with its exit status."""
    from ...readings.checks import check_pin
    from ...readings.places import find_test_point
    from ...search.marking_lookup import find_chip

    typed_readings = {"dc": dc, "vpp": vpp, "freq": freq, "ohms": ohms, "seen": seen}
    if (pin is None) == (readings is None):
        raise click.UsageError("Give a PIN and its readings, or --readings FILE.")
    with open_chosen_folio(folio) as opened:
        chip = find_chip(opened, part)
        # Without notes the readings are compared with the chip file alone.
        notes = opened.notes(chip.part) if expect == "observed" else None
    if readings is not None:
        is_right = _check_file(chip, readings, condition, instruments, notes, as_json)
        raise SystemExit(0 if is_right else AnswerIsNo.exit_code)
    test_point = find_test_point(chip, str(pin))
    if capture is not None:
        samples = _read_capture(capture, interval, full_scale)
        channel_index = samples.find_channel(channel) if channel else 0
        checked = _check_capture(
            chip, test_point, samples, channel_index, typed_readings, instruments, condition,
            notes, line, field,
        )  # fmt: skip
        judged = checked.judged
        answer_capture(checked, files, as_json)
    else:
        reading = _read_options(typed_readings)
        judged = check_pin(chip, test_point, reading, instruments, condition, notes)
        _answer(judged, as_json)
    raise SystemExit(0 if judged.is_right else AnswerIsNo.exit_code)


def _check_capture(
    chip: Chip,
    pin: Pin,
    samples: Capture,
    channel: int,
    written: dict[str, str | None],
    instruments: Instruments,
    condition: str | None,
    good: list[Note] | None,
    line: int | None,
    field: int | None,
) -> CaptureCheck:
    """Return the verdict on a capture."""
    from ...readings.capture_check import check_capture
    from ...readings.pin_readings import read_fields

    reading = read_fields(written)
    return check_capture(
        chip, pin, samples, reading, instruments, condition, channel, good, line, field
    )


def _read_options(written: dict[str, str | None]) -> Reading:
    from ...readings.pin_readings import read_fields

    reading = read_fields(written)
    if not reading:
        raise click.UsageError("There is no reading: give --dc, --vpp, --freq, --ohms or --seen.")
    return reading


def _read_capture(path: Path, interval: str | None, full_scale: str | None) -> Capture:
    from ....loaders.captures.capture import MOST_BYTES
    from ....loaders.captures.limited_capture import read_capture_limited
    from ....schema.quantities import parse_quantity

    interval_s = parse_quantity(interval, "s").nominal if interval else None
    full_scale_v = parse_quantity(full_scale, "V").nominal if full_scale else None
    data = read_input(path, MOST_BYTES)
    return read_capture_limited(data, str(path), interval_s, full_scale_v)


def _check_file(
    chip: Chip,
    path: Path,
    condition: str | None,
    instruments: Instruments,
    good: list[Note] | None,
    as_json: bool,
) -> bool:
    """Print the verdicts on the readings of a file; return whether all are as expected."""
    from ...readings.checks import check_list
    from ...readings.places import list_spaced_names
    from ...readings.reading_list import MOST_BYTES, read_table

    data = read_input(path, MOST_BYTES)
    readings = read_table(data, str(path), list_spaced_names(chip))
    checked = check_list(chip, readings, instruments, condition, good)
    if as_json:
        print_json(checked.document())
    else:
        from ..tables.reading_tables import print_checked

        print_checked(checked)
        if not checked.is_right:
            click.echo(f"Find the fault from here: {_write_hunt(chip, path, condition)}")
    return checked.is_right


def _write_hunt(chip: Chip, path: Path, condition: str | None) -> str:
    """Return the command that finds the fault from the readings of a file."""
    import shlex

    words = ["pinfolio", "faultfind", chip.part, "--readings", str(path), "--interactive"]
    return shlex.join([*words, *(["--condition", condition] if condition else [])])


def _answer(judged: PinVerdict, as_json: bool) -> None:
    if as_json:
        print_json(judged.document())
    else:
        from ..tables.reading_tables import print_judged

        print_judged(judged)
