"""Captures in containers: arrays, sound, HDF5, MATLAB, sessions; other binary files are named.

The files are written by the libraries that define or keep each format: NumPy (NPY version 1.0),
h5py (HDF5), SciPy (MATLAB level 5), wave (RIFF WAVE), zipfile.
"""

from __future__ import annotations

import io
import struct
import wave
import zipfile
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest
import scipy.io
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.loaders.captures import container_file
from pinfolio.loaders.captures.capture import Capture, CaptureError
from pinfolio.loaders.captures.capture_file import read_capture

INTERVAL_S = 40e-9
TIME_S = -2e-6 + np.arange(500) * INTERVAL_S
LUMA_V = np.round(0.35 + 0.3 * np.sin(np.arange(500) / 9), 4)
CHROMA_V = np.round(0.15 * np.cos(np.arange(500) / 3), 4)


def save(write: Callable[[io.BytesIO], Any]) -> bytes:
    buffer = io.BytesIO()
    write(buffer)
    return buffer.getvalue()


def save_hdf5(fill: Callable[[h5py.File], Any]) -> bytes:
    def write(buffer: io.BytesIO) -> None:
        with h5py.File(buffer, "w") as file:
            fill(file)

    return save(write)


def save_sound(width: int, *channels: np.ndarray, rate_hz: int = 48_000) -> bytes:
    """PCM of a width in bytes; samples are shares of full scale."""
    frames = np.column_stack(channels)
    steps = np.round(frames * (2 ** (8 * width - 1) - 1)).astype(np.int64)
    raw = [(int(step) + (128 if width == 1 else 0)) & (2 ** (8 * width) - 1) for step in steps.flat]
    data = b"".join(value.to_bytes(width, "little") for value in raw)

    def write(buffer: io.BytesIO) -> None:
        with wave.open(buffer, "wb") as sound:
            sound.setparams((len(channels), width, rate_hz, 0, "NONE", ""))
            sound.writeframes(data)

    return save(write)


def save_archive(members: dict[str, bytes]) -> bytes:
    def write(buffer: io.BytesIO) -> None:
        with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
            for name, data in members.items():
                archive.writestr(name, data)

    return save(write)


METADATA = b"""[global]
sigrok version=0.5.2

[device 1]
capturefile=logic-1
total probes=2
samplerate=25 MHz
total analog=2
probe1=D0
probe2=D1
analog3=Y
analog4=C
unitsize=1
"""


SESSION = {
    "version": b"2",
    "metadata": METADATA,
    "logic-1-1": bytes(500),
    "analog-1-3-1": LUMA_V[:300].astype("<f4").tobytes(),
    "analog-1-3-2": LUMA_V[300:].astype("<f4").tobytes(),
    "analog-1-4-1": CHROMA_V.astype("<f4").tobytes(),
}


def fill_groups(file: h5py.File) -> None:
    group = file.create_group("record/CH1")
    group.create_dataset("luma", data=LUMA_V).attrs["dt"] = INTERVAL_S


READ: dict[str, tuple[bytes, dict[str, np.ndarray]]] = {
    "NPY, time and volts in columns": (
        save(lambda b: np.save(b, np.column_stack([TIME_S, LUMA_V]))),
        {"channel 1": LUMA_V},
    ),
    "NPY, time and volts in rows": (
        save(lambda b: np.save(b, np.stack([TIME_S, LUMA_V, CHROMA_V]))),
        {"channel 1": LUMA_V, "channel 2": CHROMA_V},
    ),
    "NPY, named fields": (
        save(
            lambda b: np.save(
                b, np.rec.fromarrays([TIME_S, LUMA_V], names=["time", "luma"]).view(np.ndarray)
            )
        ),
        {"luma": LUMA_V},
    ),
    "NPZ, arrays and an interval": (
        save(lambda b: np.savez_compressed(b, luma=LUMA_V, chroma=CHROMA_V, dt=INTERVAL_S)),
        {"luma": LUMA_V, "chroma": CHROMA_V},
    ),
    "NPZ, an array of times": (
        save(lambda b: np.savez(b, t=TIME_S, ch1=LUMA_V.astype(np.float32))),
        {"ch1": LUMA_V},
    ),
    "HDF5, an interval as attribute": (save_hdf5(fill_groups), {"luma": LUMA_V}),
    "HDF5, a rate as attribute of the file": (
        save_hdf5(
            lambda f: (f.attrs.update(sample_rate=25e6), f.create_dataset("CH1", data=LUMA_V))
        ),
        {"CH1": LUMA_V},
    ),
    "HDF5, a data set of times": (
        save_hdf5(
            lambda f: (f.create_dataset("time", data=TIME_S), f.create_dataset("y", data=LUMA_V))
        ),
        {"y": LUMA_V},
    ),
    "MATLAB 5, rows": (
        save(lambda b: scipy.io.savemat(b, {"t": TIME_S, "luma": LUMA_V}, do_compression=True)),
        {"luma": LUMA_V},
    ),
    "MATLAB 5, columns and a rate": (
        save(lambda b: scipy.io.savemat(b, {"fs": 25e6, "luma": LUMA_V[:, None]})),
        {"luma": LUMA_V},
    ),
    "a session of two analogue channels in two pieces": (
        save_archive(SESSION),
        {"Y": LUMA_V, "C": CHROMA_V},
    ),
}


@pytest.mark.parametrize(("data", "channels"), READ.values(), ids=READ)
def test_a_container_is_read(data: bytes, channels: dict[str, np.ndarray]) -> None:
    capture = read_capture(data, "record.bin")
    assert capture.names == tuple(channels)
    assert capture.interval_s == pytest.approx(INTERVAL_S)
    for volts, expected in zip(capture.channels, channels.values(), strict=True):
        assert volts == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("width", [1, 2, 3, 4])
def test_sound_takes_its_volts_from_outside(width: int) -> None:
    data = save_sound(width, LUMA_V, CHROMA_V)
    capture = read_capture(data, "sound.wav", full_scale_v=2.0)
    assert capture.interval_s == pytest.approx(1 / 48_000)
    assert capture.names == ("left", "right")
    assert capture.channels[1] == pytest.approx(2 * CHROMA_V, abs=2.0 / 2 ** (8 * width - 2))


def test_an_interval_from_outside_serves_an_array_without_one() -> None:
    data = save(lambda b: np.save(b, LUMA_V))
    assert read_capture(data, "a.npy", INTERVAL_S).interval_s == INTERVAL_S


def make_linked_hdf5(kind: str, secret: Path) -> bytes:
    """An HDF5 file whose samples are in another file of the machine that reads it."""
    with h5py.File(secret, "w") as file:
        file.create_dataset("CH1", data=LUMA_V).attrs["dt"] = INTERVAL_S

    def fill(file: h5py.File) -> None:
        if kind == "external link":
            file["CH1"] = h5py.ExternalLink(str(secret), "/CH1")
        elif kind == "virtual":
            layout = h5py.VirtualLayout((500,), LUMA_V.dtype)
            layout[:] = h5py.VirtualSource(str(secret), "CH1", shape=(500,))
            file.create_virtual_dataset("CH1", layout)
        else:
            file.create_dataset("CH1", (500,), "f8", external=[(str(secret), 0, 4000)])
        file.attrs["dt"] = INTERVAL_S

    return save_hdf5(fill)


@pytest.mark.parametrize("kind", ["external link", "virtual", "external storage"])
def test_hdf5_reads_no_other_file(kind: str, tmp_path: Path) -> None:
    with pytest.raises(CaptureError, match="no array of samples"):
        read_capture(make_linked_hdf5(kind, tmp_path / "other.h5"), "a.h5")


def pickle_array() -> bytes:
    return save(lambda b: np.save(b, np.array([{"a": 1}], dtype=object), allow_pickle=True))


REFUSED: dict[str, tuple[bytes, str]] = {
    "an array without time": (save(lambda b: np.save(b, LUMA_V)), "volts without time"),
    "sound without its volts": (save_sound(2, LUMA_V), "full scale"),
    "counts of a converter": (
        save(lambda b: np.savez(b, ch1=(LUMA_V * 100).astype(np.uint8), dt=INTERVAL_S)),
        "counts",
    ),
    "arrays of different lengths": (
        save(lambda b: np.savez(b, a=LUMA_V, b=CHROMA_V[:-1], dt=INTERVAL_S)),
        "lengths",
    ),
    "objects": (pickle_array(), "objects"),
    "complex samples": (save(lambda b: np.save(b, LUMA_V + 1j)), "no array of samples"),
    "nothing in it": (save_hdf5(lambda f: None), "no array of samples"),
    "a picture": (b"\x89PNG\r\n\x1a\n" + bytes(100), "a picture (PNG)"),
    "a JPEG": (b"\xff\xd8\xff\xe0" + bytes(100), "a picture (JPEG)"),
    "a BMP": (b"BM\x36\x00\x00\x00\x00\x00" + bytes(100), "a picture (BMP)"),
    "a PDF": (b"%PDF-1.7\n\xe2\xe3\n" + bytes(100), "a PDF"),
    "a workbook": (save_archive({"xl/workbook.xml": b"<workbook/>"}), "a spreadsheet"),
    "another archive": (save_archive({"a.txt": b"x"}), "a ZIP archive"),
    "gzip": (b"\x1f\x8b\x08" + bytes(100), "compressed (gzip)"),
    "anything else": (b"WAVEFRM\x00" + struct.pack("<200h", *range(200)), "a binary file"),
    "a broken NPY": (b"\x93NUMPY\x01\x00\x76\x00{'descr': 'x'}" + bytes(100), "broken"),
    "a broken HDF5": (b"\x89HDF\r\n\x1a\n" + bytes(400), "broken"),
    "a broken MATLAB file": (
        b"MATLAB 5.0 MAT-file".ljust(124) + b"\x00\x01IM" + b"\x0e\0\0\0\xff\xff\0\0" + bytes(40),
        "broken",
    ),
    "a broken WAV": (b"RIFF\x24\x00\x00\x00WAVEfmt \x10\x00", "broken"),
    "a broken session": (
        save_archive({"version": b"2", "metadata": b"[device 1\n"}),
        "broken",
    ),
    "a session of logic alone": (
        save_archive({"version": b"2", "metadata": METADATA, "logic-1-1": bytes(10)}),
        "logic",
    ),
}


@pytest.mark.parametrize(("data", "reason"), REFUSED.values(), ids=REFUSED)
def test_what_cannot_be_read_is_named(data: bytes, reason: str) -> None:
    with pytest.raises(CaptureError) as refused:
        read_capture(data, "record.bin")
    assert reason in str(refused.value)


def test_sizes_are_bounded_before_reading(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(container_file, "MOST_BYTES", 3000)
    for name in ("NPZ, arrays and an interval", "HDF5, an interval as attribute"):
        with pytest.raises(CaptureError, match="expected no more than 3,000"):
            read_capture(READ[name][0], "record.bin")
    with pytest.raises(CaptureError, match="expected no more than 3,000"):
        read_capture(READ["a session of two analogue channels in two pieces"][0], "record.sr")


def test_a_reader_that_is_not_installed_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "h5py", None)
    with pytest.raises(CaptureError, match=r"pip install 'pinfolio\[captures\]'"):
        read_capture(READ["HDF5, an interval as attribute"][0], "record.h5")


@given(st.sampled_from(sorted(READ)), st.integers(0, 4000), st.binary(min_size=1, max_size=8))
def test_a_damaged_container_is_read_or_refused(name: str, start: int, damage: bytes) -> None:
    """HDF5 is left to the child process: its library is C, and reads damaged files at its peril."""
    data = READ[name][0]
    start %= len(data)
    if not name.startswith("HDF5"):
        with suppress(CaptureError):
            read_capture(data[:start] + damage + data[start + len(damage) :], "a.bin")


def test_remarks_name_what_is_assumed() -> None:
    capture: Capture = read_capture(READ["NPZ, arrays and an interval"][0], "record.npz")
    assert "No unit is stated for luma: taken as volts" in capture.remarks
