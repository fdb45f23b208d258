"""Read a WAV file as a capture: its samples are shares of full scale, whose volts are given."""

from __future__ import annotations

import io
import wave

import numpy as np

from .capture import Capture, Samples
from .named_arrays import refuse

_SIDES = ("left", "right")


def read_sound(data: bytes, name: str, full_scale_v: float | None) -> Capture:
    """Return the capture in a WAV file of PCM; ``full_scale_v``: volts of the largest sample.

    Raises CaptureError.
    """
    try:
        with wave.open(io.BytesIO(data)) as sound:
            count, width, rate_hz = sound.getnchannels(), sound.getsampwidth(), sound.getframerate()
            raw = sound.readframes(sound.getnframes())
    except (wave.Error, EOFError, ValueError, ArithmeticError):
        expected = "whole numbers (PCM); export it as CSV"
        raise refuse(name, "a broken WAV file, or one of another coding", expected) from None
    if full_scale_v is None:
        found_text = "a WAV file, whose samples are shares of full scale"
        raise refuse(name, found_text, "the volts of full scale; add --full-scale '1 V'")
    frames = len(raw) // (count * width) if count * width else 0
    if frames < 2 or rate_hz < 1:
        raise refuse(name, f"a WAV file of {frames} samples", "at least 2")
    shares = _read_steps(raw[: frames * count * width], width) / 2.0 ** (8 * width - 1)
    table = shares.reshape(frames, count) * full_scale_v
    names = _SIDES if count == len(_SIDES) else tuple(f"channel {n + 1}" for n in range(count))
    t_s = np.arange(frames, dtype=np.float64) / rate_hz
    channels = tuple(np.ascontiguousarray(column) for column in table.T)
    return Capture(t_s, channels, 1 / rate_hz, names)


def _read_steps(raw: bytes, width: int) -> Samples:
    """Return samples of ``width`` bytes as signed numbers; those of one byte have none (RIFF)."""
    if width == 1:
        return np.frombuffer(raw, np.uint8).astype(np.float64) - 128
    if width == 3:
        triples = np.frombuffer(raw, np.uint8).reshape(-1, 3).astype(np.int32)
        steps = triples[:, 0] | triples[:, 1] << 8 | triples[:, 2] << 16
        return np.where(steps >= 1 << 23, steps - (1 << 24), steps).astype(np.float64)
    return np.frombuffer(raw, f"<i{width}").astype(np.float64)
