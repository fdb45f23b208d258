"""A capture is read in a child process: the same samples, the same faults, and limits."""

from __future__ import annotations

import io

import h5py
import numpy as np
import pytest
import scipy.io
from pinfolio.loaders.captures import limited_capture
from pinfolio.loaders.captures.capture import CaptureError
from pinfolio.loaders.captures.capture_file import read_capture
from pinfolio.loaders.captures.limited_capture import read_capture_limited

SAMPLES = "time (s),CH1 (V)\n" + "".join(f"{n}e-6,{n % 5}.5\n" for n in range(2000))


def test_the_samples_are_those_read_directly() -> None:
    near, far = read_capture(SAMPLES.encode(), "a.csv"), read_capture_limited(SAMPLES.encode(), "a")
    assert np.array_equal(near.t_s, far.t_s)
    assert np.array_equal(near.channels[0], far.channels[0])


def test_a_fault_names_its_line() -> None:
    with pytest.raises(CaptureError, match=r"a\.csv:4:1: 'x,y': expected"):
        read_capture_limited(b"t,v\n1,2.5\n2,2.5\nx,y\n", "a.csv")


def test_one_that_takes_too_much_is_one_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limited_capture, "_MEMORY_BYTES", 1_000)
    monkeypatch.setattr(limited_capture, "_MEMORY_PER_BYTE", 0)
    with pytest.raises(CaptureError, match="a file that takes more than 0 MB of memory"):
        read_capture_limited(SAMPLES.encode() * 200, "a.csv")


@pytest.mark.parametrize("form", ["HDF5", "MATLAB 5"])
def test_containers_are_read_within_the_limits(form: str) -> None:
    buffer, volts = io.BytesIO(), np.sin(np.arange(100_000) / 9)
    if form == "HDF5":
        with h5py.File(buffer, "w") as file:
            file.create_dataset("CH1", data=volts, compression="gzip").attrs["dt"] = 4e-8
    else:
        scipy.io.savemat(buffer, {"CH1": volts, "dt": 4e-8}, do_compression=True)
    capture = read_capture_limited(buffer.getvalue(), "a.bin")
    assert capture.interval_s == 4e-8
    assert np.array_equal(capture.channels[0], volts)


def test_a_small_file_that_unpacks_to_much_is_refused() -> None:
    buffer = io.BytesIO()
    with h5py.File(buffer, "w") as file:
        file.create_dataset("CH1", (10_000_000_000,), "f8", chunks=True).attrs["dt"] = 4e-8
    with pytest.raises(CaptureError, match="80,000,000,000 bytes unpacked: expected no more than"):
        read_capture_limited(buffer.getvalue(), "a.h5")
