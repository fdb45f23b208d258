"""The options that draw a capture, and the answer to one."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import click

if TYPE_CHECKING:
    from ..readings.capture_check import CaptureCheck
    from ..readings.pictures.capture_pictures import CapturePictures

_DRAWN = {
    "page": "Write all of it, figures and pictures, as a page to open in a browser.",
    "spectrum": "Draw the spectrum of the capture, with mains and line harmonics marked.",
    "vectors": "Draw the colours of the capture as vectors over their target boxes.",
    "svg": "Draw the capture over the expected picture, with the difference below.",
}


class CaptureFiles(NamedTuple):
    """The files that the pictures of a capture and its page are written to; None: not wanted."""

    svg: Path | None
    vectors: Path | None
    spectrum: Path | None
    page: Path | None


def picture_options(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command ``--line`` and ``--field``, and ``--svg``, ``--vectors``, ``--spectrum`` and
    ``--page`` as one argument ``files``.
    """

    @wraps(command)
    def gather(
        *,
        svg: Path | None,
        vectors: Path | None,
        spectrum: Path | None,
        page: Path | None,
        **rest: Any,
    ) -> None:
        command(files=CaptureFiles(svg, vectors, spectrum, page), **rest)

    file = click.Path(path_type=Path, dir_okay=False)
    decorated: Callable[..., None] = gather
    for name, help_text in _DRAWN.items():
        decorated = click.option(f"--{name}", type=file, metavar="FILE", help=help_text)(decorated)
    help_text = "Count --line from the start of this field."
    decorated = click.option("--field", type=click.IntRange(1, 2), help=help_text)(decorated)
    help_text = "Measure this line of composite video alone; the capture holds a field sync."
    line = click.option("--line", type=click.IntRange(1, 625), metavar="NUMBER", help=help_text)
    return line(decorated)


def answer_capture(checked: CaptureCheck, files: CaptureFiles, as_json: bool) -> None:
    """Write the pictures that files are named for, then print the verdict on a capture."""
    from ..readings.pictures.capture_pictures import CapturePictures
    from .command_common import print_json

    judged = checked.judged
    title = f"{judged.chip.part} pin {judged.pin.number} {judged.pin.symbol}, captured and expected"
    pictures = CapturePictures(checked, title)
    _write_pictures(pictures, files)
    if as_json:
        print_json(pictures.document())
    else:
        from .tables.capture_tables import print_capture

        print_capture(pictures)


def _write_pictures(pictures: CapturePictures, files: CaptureFiles) -> None:
    """Write the pictures that a file is named for; say where there is none to draw."""
    from .command_common import AnswerIsNo, write_page, write_picture

    wanted = (
        (
            files.svg,
            pictures.draw_comparison,
            "this pin has no known waveform to draw the capture over",
        ),
        (
            files.vectors,
            pictures.draw_vectors,
            "this capture holds no colour bars to draw vectors of",
        ),
        (files.spectrum, pictures.draw_spectrum, "this capture is too short for a spectrum"),
    )
    for path, draw, refusal in wanted:
        if path is not None:
            picture = draw(standalone=True)
            if picture is None:
                raise AnswerIsNo(refusal)
            write_picture(path, picture)
    if files.page is not None:
        from ..web.saved_capture_page import write_capture_page

        write_page(files.page, write_capture_page(pictures))
