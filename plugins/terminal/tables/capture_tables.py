"""The figures of a capture as a table, below the verdict on its pin."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ....schema.text import visible
from ..command_common import open_console
from .reading_tables import print_judged

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

    from ...readings.pictures.capture_pictures import CapturePictures
    from ...readings.video.video_check import VideoCheck


def print_capture(pictures: CapturePictures) -> None:
    """Print the verdict, then the measurements of the capture."""
    checked = pictures.check
    print_judged(checked.judged)
    console = open_console()
    console.print()
    console.print(visible(f"Read: {checked.capture.describe()}"), highlight=False)
    for remark in checked.capture.remarks:
        console.print(visible(f"  {remark}"), highlight=False)
    _print_shape(pictures, console)
    video = checked.video
    if video is None or not (video.figures or video.notes):
        return  # no video signal, or none of which anything could be measured
    console.print()
    heading = f"Measured on the capture: {video.system}" if video.system else "Measured"
    console.print(visible(heading), style="bold")
    for note in video.notes:
        console.print(visible(f"  {note}"))
    if video.figures:
        console.print(_build_table(video))


def _print_shape(pictures: CapturePictures, console: Console) -> None:
    """Print a sentence on the difference from the expected trace, and one on the colours."""
    sentences = (("Difference", pictures.difference), ("Colour vectors", pictures.vectors))
    if any(told is not None for _, told in sentences):
        console.print()
    for name, told in sentences:
        if told is not None:
            console.print(visible(f"{name}: {told.words}"))


def _build_table(video: VideoCheck) -> Table:
    from rich import box
    from rich.table import Table

    table = Table("Figure", "Measured", "Should be", "Verdict", box=box.SIMPLE_HEAD, pad_edge=False)
    for one in video.figures:
        table.add_row(
            *(visible(cell) for cell in (one.name, one.words, one.limits_words, one.verdict))
        )
    return table
