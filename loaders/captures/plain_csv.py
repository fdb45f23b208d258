"""Write a capture as plain CSV, without the header of the instrument's file."""

from __future__ import annotations

from collections.abc import Iterator

from .capture import Capture


def format_csv(capture: Capture) -> bytes:
    """Return times and volts as CSV, in seconds and volts; channels are numbered."""
    header = ["time (s)", *(f"CH{n} (V)" for n in range(1, len(capture.channels) + 1))]
    rows = zip(
        capture.t_s.tolist(), *(channel.tolist() for channel in capture.channels), strict=True
    )
    return "".join([",".join(header) + "\n", *_format_rows(rows)]).encode()


def _format_rows(rows: Iterator[tuple[float, ...]]) -> Iterator[str]:
    """Yield CSV lines: volts with 7 digits, more than a converter resolves; times with 12."""
    for t_s, *volts in rows:
        yield ",".join([f"{t_s:.12g}", *(f"{v:.7g}" for v in volts)]) + "\n"
