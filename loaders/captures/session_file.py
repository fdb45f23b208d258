"""Read the analogue channels of a sigrok session file, an open format.

A ZIP archive: ``version``, ``metadata`` (sections of keys), and for each analogue channel members
``analog-1-CHANNEL-PIECE`` of little-endian 32 bit floating-point volts. Format: sigrok wiki,
"File format:Sigrok/v2".
"""

from __future__ import annotations

import configparser
import io
import re
import zipfile
from typing import Final

import numpy as np

from .array_file import check_size, refuse_broken
from .capture import Capture
from .named_arrays import make_capture, refuse

_MEMBER: Final = re.compile(r"analog-1-(\d+)-(\d+)")
_RATE: Final = re.compile(r"([0-9.]+) ?([kMG]?)Hz")
_PREFIXES: Final = {"": 1.0, "k": 1e3, "M": 1e6, "G": 1e9}


def read_session(data: bytes, name: str, most_bytes: int) -> Capture:
    """Return the analogue channels of a session. Raises CaptureError."""
    with refuse_broken(name, "a session"), zipfile.ZipFile(io.BytesIO(data)) as archive:
        check_size(sum(member.file_size for member in archive.infolist()), name, most_bytes)
        pieces = {m: archive.read(m) for m in archive.namelist() if _MEMBER.fullmatch(m)}
        metadata = configparser.ConfigParser(interpolation=None)
        metadata.read_string(archive.read("metadata").decode())
        device = metadata["device 1"]
        rate = _RATE.fullmatch(device["samplerate"].strip())
    if not pieces:
        raise refuse(name, "a session of logic alone", "an analogue channel")
    if rate is None:
        raise refuse(name, f"samplerate {device['samplerate']}", "a rate such as 25 MHz")
    arrays = {
        device.get(f"analog{channel}", f"channel {channel}"): _join(channel, pieces, name)
        for channel in sorted({int(m[1]) for m in map(_MEMBER.fullmatch, pieces) if m})
    }
    rate_hz = float(rate[1]) * _PREFIXES[rate[2]]
    return make_capture(arrays, {"sample_rate": rate_hz}, name, None)


def _join(channel: int, pieces: dict[str, bytes], name: str) -> np.ndarray:
    """Return the samples of a channel, its pieces in the order of their numbers."""
    matches = [m for m in map(_MEMBER.fullmatch, pieces) if m and int(m[1]) == channel]
    raw = b"".join(pieces[m[0]] for m in sorted(matches, key=lambda m: int(m[2])))
    if len(raw) % 4:
        raise refuse(name, f"a cut-off channel {channel}", "32 bit samples")
    return np.frombuffer(raw, "<f4")
