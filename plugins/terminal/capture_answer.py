"""The options that draw a capture, and the answer to one."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from ..readings.capture_check import CaptureCheck
    from ..readings.pictures.capture_pictures import CapturePictures

Command = TypeVar("Command", bound=Callable[..., Any])

_DRAWN = {
    "spectrum": "Draw the spectrum of the capture, with mains and line harmonics marked.",
    "vectors": "Draw the colours of the capture as vectors over their target boxes.",
    "svg": "Draw the capture over the expected picture, with the difference below.",
}


def picture_options(command: Command) -> Command:
    """Give a command ``--line``, ``--field``, ``--svg``, ``--vectors`` and ``--spectrum``."""
    file = click.Path(path_type=Path, dir_okay=False)
    for name, help_text in _DRAWN.items():
        command = click.option(f"--{name}", type=file, metavar="FILE", help=help_text)(command)
    help_text = "Count --line from the start of this field."
    command = click.option("--field", type=click.IntRange(1, 2), help=help_text)(command)
    help_text = "Measure this line of composite video alone; the capture holds a field sync."
    line = click.option("--line", type=click.IntRange(1, 625), metavar="NUMBER", help=help_text)
    return line(command)


def answer_capture(
    checked: CaptureCheck,
    svg: Path | None,
    vectors: Path | None,
    spectrum: Path | None,
    as_json: bool,
) -> None:
    """Write the pictures that files are named for, then print the verdict on a capture."""
    from ..readings.pictures.capture_pictures import CapturePictures
    from .command_common import print_json

    judged = checked.judged
    title = f"{judged.chip.part} pin {judged.pin.number} {judged.pin.symbol}, captured and expected"
    pictures = CapturePictures(checked, title)
    _write_pictures(pictures, svg, vectors, spectrum)
    if as_json:
        print_json(pictures.document())
    else:
        from .tables.capture_tables import print_capture

        print_capture(pictures)


def _write_pictures(
    pictures: CapturePictures, svg: Path | None, vectors: Path | None, spectrum: Path | None
) -> None:
    """Write the pictures that a file is named for; say where there is none to draw."""
    from .command_common import AnswerIsNo, write_picture

    wanted = (
        (svg, pictures.draw_comparison, "this pin has no known waveform to draw the capture over"),
        (vectors, pictures.draw_vectors, "this capture holds no colour bars to draw vectors of"),
        (spectrum, pictures.draw_spectrum, "this capture is too short for a spectrum"),
    )
    for path, draw, refusal in wanted:
        if path is not None:
            picture = draw(standalone=True)
            if picture is None:
                raise AnswerIsNo(refusal)
            write_picture(path, picture)
