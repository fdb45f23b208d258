"""Parse the answers of an oscilloscope to waveform queries: blocks, preambles, samples.

Blocks: IEEE 488.2-1992, 8.7.9 and 8.7.10. Preamble: the ten figures that most instruments with
SCPI give. Samples are asked for as text, in volts: instruments differ in the meaning of the
vertical origin, so counts could be converted in two ways.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from .capture import FEWEST_SAMPLES, Samples

_FIGURES: Final = 10
_MOST_V: Final = 1e6  # 9.9E37 is SCPI's "not a number"


class AnswerError(Exception):
    """An answer that is none to the query; the message says how, to be told with the address."""


@dataclass(frozen=True)
class Preamble:
    """Scaling of a record."""

    points: int
    x_increment_s: float
    x_origin_s: float
    x_reference: float
    y_increment: float
    """Volts of one count."""

    def compute_times_s(self, count: int) -> Samples:
        """Return the times of ``count`` samples, in seconds."""
        steps = np.arange(count, dtype=np.float64) - self.x_reference
        return self.x_origin_s + steps * self.x_increment_s


def unwrap_block(answer: bytes) -> bytes:
    """Return the data of a block; an answer that is no block without its line end.

    Raises AnswerError for a block that is cut off or has no length.
    """
    if not answer.startswith(b"#"):
        return answer.strip()
    digits = answer[1:2]
    if digits == b"0":
        return answer[2:].rstrip(b"\r\n")
    length = answer[2 : 2 + int(digits)] if digits.isdigit() else b""
    data = answer[2 + len(length) :]
    if not length.isdigit() or len(data) < int(length):
        raise AnswerError(
            "a block that is cut off: expected '#', digits of the length, and so many bytes"
        )
    return data[: int(length)]


def parse_preamble(text: str) -> Preamble:
    """Return the preamble in ten figures with commas. Raises AnswerError."""
    try:
        figures = [float(figure) for figure in text.split(",")]
    except ValueError:
        figures = []
    if (
        len(figures) < _FIGURES
        or not all(map(math.isfinite, figures[:_FIGURES]))
        or figures[4] <= 0
    ):
        raise AnswerError(
            f"the preamble {text[:40]!r}: expected ten figures, the fifth an interval"
        )
    return Preamble(int(figures[2]), *figures[4:8])


def parse_samples(answer: bytes, preamble: Preamble) -> Samples:
    """Return volts in an answer of numbers with commas. Raises AnswerError."""
    words = unwrap_block(answer).decode("latin-1").strip().rstrip(",").split(",")
    try:
        volts = np.array([float(word) for word in words], dtype=np.float64)
    except ValueError:
        raise AnswerError(f"samples {words[0][:40]!r}: expected numbers with commas") from None
    if len(volts) < FEWEST_SAMPLES:
        raise AnswerError(f"{len(volts)} samples: expected at least {FEWEST_SAMPLES}")
    if not (np.abs(volts) < _MOST_V).all():
        raise AnswerError(
            "samples out of range: expected volts; choose a larger volts per division"
        )
    if (volts == np.round(volts)).all() and np.ptp(volts) > 0 and preamble.y_increment < 1:
        raise AnswerError("counts of the converter: expected volts; save the record as a file")
    return volts
