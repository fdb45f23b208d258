"""Read a record straight from an oscilloscope, and compare it with the expected signal of a pin.

The oscilloscope answers over VISA: its address is a resource name, or a host on the network. It is
asked for the record of one channel and its settings, and nothing is set but the form of the answer.
Needs the extra 'scope'. Exit status as that of 'pinfolio check'.

\b
  pinfolio capture TQZ5752 22 --from TCPIP::192.0.2.7::INSTR --channel 2
  pinfolio capture TQZ5752 13 --from 192.0.2.7 --save bars.csv --svg compared.svg
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ..capture_answer import CaptureFiles, answer_capture, picture_options
from ..command_common import AnswerIsNo, BadInput, folio_option, json_option, open_chosen_folio
from ..instrument_choice import bench_options

if TYPE_CHECKING:
    from ....loaders.captures.capture import Capture
    from ....schema.instruments import Instruments


@click.command(help=__doc__)
@click.argument("part")
@click.argument("pin")
@click.option("--from", "address", required=True, metavar="ADDRESS", help="VISA address, or host.")
@click.option("--channel", metavar="NUMBER", default="1", show_default=True, help="Its channel.")
@click.option(
    "--save",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Also write the samples to a new CSV file, for 'pinfolio check --capture' or a note.",
)
@picture_options
@click.option("--condition", metavar="NAME", help="The state of the set while measuring.")
@bench_options
@json_option
@folio_option
def command(
    part: str,
    pin: str,
    address: str,
    channel: str,
    save: Path | None,
    line: int | None,
    field: int | None,
    files: CaptureFiles,
    condition: str | None,
    instruments: Instruments,
    as_json: bool,
    folio: Path | None,
) -> None:
    """Print the comparison of a record with the expected signal, and end with its exit status."""
    from ....loaders.captures.scope_link import read_scope
    from ....schema.reading import Reading
    from ...readings.capture_check import check_capture
    from ...readings.places import find_test_point
    from ...search.marking_lookup import find_chip

    with open_chosen_folio(folio) as opened:
        chip = find_chip(opened, part)
        notes = opened.notes(chip.part)
    test_point = find_test_point(chip, pin)
    record = read_scope(address, channel)
    # Saved before it is judged: the signal may not be there a second time.
    if save is not None:
        _save(record, save)
    checked = check_capture(
        chip, test_point, record, Reading(), instruments, condition, 0, notes, line, field
    )
    answer_capture(checked, files, as_json)
    raise SystemExit(0 if checked.judged.is_right else AnswerIsNo.exit_code)


def _save(record: Capture, path: Path) -> None:
    """Write a record as CSV; raises BadInput where the file exists or cannot be written."""
    from ....loaders.captures.plain_csv import format_csv
    from ....loaders.system.atomic_write import write_atomically
    from ....schema.text import visible

    shown = visible(str(path))
    try:
        write_atomically(path, format_csv(record).decode(), overwrite=False)
    except FileExistsError:
        raise BadInput(f"{shown}: exists already; choose another name") from None
    except OSError as refused:
        raise BadInput(f"{shown}: cannot be written ({refused.strerror})") from None
