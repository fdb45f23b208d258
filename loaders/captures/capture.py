"""Evenly spaced samples of one record, and the error of a file that holds none."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ...schema.errors import Unusable
from ...schema.quantities import print_value
from ...schema.text import visible
from ..errors import Fault, InvalidFileError

Samples = NDArray[np.float64]

MOST_BYTES: Final = 200_000_000
MOST_SAMPLES: Final = 20_000_000
FEWEST_SAMPLES: Final = 2
_LONGEST_LINE: Final = 60  # of a line quoted in an error


@dataclass(frozen=True)
class CaptureFault(Fault):
    """A fault of a capture, with the lines it was seen at."""

    lines: tuple[tuple[int, str], ...] = ()
    """Number and text of each line quoted."""

    @property
    def message(self) -> str:
        """The fault in one sentence, then the lines as they are in the file."""
        quoted = [f"line {number}: '{_shorten(text)}'" for number, text in self.lines]
        return "; ".join([super().message, *quoted])


def _shorten(text: str) -> str:
    text = visible(text)
    return text if len(text) <= _LONGEST_LINE else f"{text[:_LONGEST_LINE]}…"


class CaptureError(InvalidFileError):
    """A capture file that cannot be read; each fault names its line."""


class UnknownChannel(Unusable):
    """No channel of this name or number; the message lists those there are."""


@dataclass(frozen=True, eq=False)
class Capture:
    """Evenly spaced samples of one channel or more."""

    t_s: Samples
    """Times in seconds, one for each sample."""
    channels: tuple[Samples, ...]
    """Volts of each channel, arrays of the length of ``t_s``."""
    interval_s: float
    """Seconds from sample to sample."""
    names: tuple[str, ...]
    """Names of the channels, as in the file."""
    remarks: tuple[str, ...] = ()
    """Sentences on what the file left open, and how it was understood."""

    def find_channel(self, wanted: str) -> int:
        """Return the index of a channel by its name in any case, its number, or its place from 1.

        The number is that at the end of a name: 2 is ``CH2`` even where ``CH1`` is not in the file.
        Raises UnknownChannel.
        """
        word = wanted.strip().casefold()
        names = [name.strip().casefold() for name in self.names]
        if word in names:
            return names.index(word)
        numbers = [re.fullmatch(r".*?0*(\d+)", name) for name in names]
        same = [n for n, number in enumerate(numbers) if number and number[1] == word]
        if len(same) == 1:
            return same[0]
        if not any(numbers) and word.isdigit() and 0 < int(word) <= len(names):
            return int(word) - 1
        listed = ", ".join(self.names)
        raise UnknownChannel(f"no channel {wanted!r} in this capture; there are: {listed}")

    def describe(self) -> str:
        """Return the record in words: samples, interval, start, and the volts of each channel."""
        interval, start = print_value(self.interval_s, "s", 6), print_value(float(self.t_s[0]), "s")
        ranges = [
            f"{name} {print_value(low_v, 'V')} to {print_value(high_v, 'V')}"
            for name, low_v, high_v in self._list_ranges_v()
        ]
        return f"{len(self.t_s):,} samples, {interval} apart, from {start}; {', '.join(ranges)}"

    def document(self) -> dict[str, Any]:
        """Return the understood record as plain data, without its samples."""
        return {
            "samples": len(self.t_s),
            "interval_s": self.interval_s,
            "start_s": float(self.t_s[0]),
            "channels": [
                {"name": name, "low_v": low_v, "high_v": high_v}
                for name, low_v, high_v in self._list_ranges_v()
            ],
            "remarks": list(self.remarks),
        }

    def _list_ranges_v(self) -> list[tuple[str, float, float]]:
        """Return name, lowest and highest volts of each channel."""
        channels = zip(self.names, self.channels, strict=True)
        return [(name, float(volts.min()), float(volts.max())) for name, volts in channels]
